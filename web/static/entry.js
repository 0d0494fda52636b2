// entry turns what stands in a form into what the server wants, and puts into a form what comes
// back from there: an entry that was refused, or one that was undone. A number is read as people
// of any country write it, or not at all: what can mean two things is asked about.

const WHOLE = /^[0-9]{1,8}$/;
const DECIMAL = /^(?:[0-9]{1,7}(?:[.,][0-9]{0,6})?|[.,][0-9]{1,6})$/;
const THOUSANDS = /^[1-9][0-9]{0,2}[.,][0-9]{3}$/; // or three decimals: nobody can tell

// A Wrong is what a field can not mean.
export class Wrong extends Error {
	constructor(field, text) { super(text); this.field = field; }
}

// nameOf is what the label of a field calls it.
export const nameOf = (el) => (el.labels?.[0]?.textContent ?? el.name).split(/[:;]/)[0].trim();

const clip = (text) => text.length > 20 ? `${text.slice(0, 20)}…` : text;

// numberOf reads a number field. data-number says "whole" or nothing; data-least is the smallest.
export function numberOf(el) {
	const text = el.value.trim(), name = nameOf(el);
	if (el.dataset.number === "whole") {
		if (!WHOLE.test(text)) throw new Wrong(el, `${name}: “${clip(text)}” is no whole number. Write digits only, such as 12.`);
	} else {
		if (!DECIMAL.test(text)) throw new Wrong(el, `${name}: “${clip(text)}” is no number. Write it such as 0.25 or 0,25.`);
		if (THOUSANDS.test(text)) {
			const [a, b] = text.split(/[.,]/);
			throw new Wrong(el, `${name}: ${text} can be read as ${a}${b} or as ${a} and a bit. Write ${a}${b}, or ${a}.${b.replace(/0+$/, "") || "0"} with one or two decimals.`);
		}
	}
	const n = Number(text.replace(",", "."));
	if ("least" in el.dataset && n < Number(el.dataset.least)) throw new Wrong(el, `${name}: ${text} is less than ${el.dataset.least}.${el.dataset.why ? ` ${el.dataset.why}` : ""}`);
	return n;
}

// bodyOf reads a form as the server wants it: numbers as numbers, ticks as true, nothing empty.
// It throws a Wrong for what it can not read.
export function bodyOf(form, submitter) {
	const body = {};
	for (const el of form.elements) {
		if (!el.name || el.type === "submit" || el.tagName === "BUTTON") continue;
		if ("flag" in el.dataset) { if (el.checked) body[el.name] = true; continue; }
		const text = el.value.trim();
		if (text === "") {
			if (el.required) throw new Wrong(el, el.classList.contains("code") ? `${nameOf(el)}: scan it first, or type its tag.` : `${nameOf(el)}: this is needed.`);
			continue;
		}
		if ("number" in el.dataset) body[el.name] = numberOf(el);
		else body[el.name] = el.classList.contains("code") ? text.toUpperCase() : text;
	}
	if (submitter?.name) body[submitter.name] = submitter.value;
	return body;
}

// enter puts a value into a field and marks it as entered, so that it outlives a refresh.
export function enter(el, value, checked) {
	if ("flag" in el.dataset) el.checked = checked;
	else el.value = value;
	el.dataset.typed = "";
}

// fill puts what was sent back into the fields that a person sees, and into no other.
export function fill(form, body) {
	for (const [name, v] of Object.entries(body)) {
		const el = form.elements.namedItem(name);
		if (el instanceof HTMLElement && el.type !== "hidden" && el.tagName !== "BUTTON") enter(el, v, v === true); // of one name there are several reasons
	}
}

// wrong says beside a field what is wrong with it, and goes there; right takes that back.
export function wrong(el, text) {
	right(el.form);
	const p = document.createElement("p");
	p.className = "wrong";
	p.id = `${el.id}-wrong`;
	p.setAttribute("role", "alert");
	p.textContent = text;
	el.after(p);
	el.setAttribute("aria-invalid", "true");
	el.setAttribute("aria-describedby", p.id);
	const fold = el.closest("details");
	if (fold) fold.open = true;
	el.focus();
	el.select?.();
}

export function right(form) {
	for (const p of form.querySelectorAll("p.wrong")) p.remove();
	for (const el of form.querySelectorAll("[aria-invalid]")) {
		el.removeAttribute("aria-invalid");
		el.removeAttribute("aria-describedby");
	}
}
