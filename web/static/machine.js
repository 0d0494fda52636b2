// machine is what the operator's page does: a scanned box goes into the form of its station, a
// reason, tapped or scanned, sends it. What is entered goes through the queue, so that a gap in
// the network loses nothing. The worker (offline.js) keeps this page for when it is opened anew
// without one.
import { put, newKey, drop, entries, unsent, reach, offline } from "/static/queue.js";

const page = document.getElementById("machine");
const reading = () => document.getElementById("reading");
let undoable = null;

// bodyOf reads a form as the server wants it: numbers as numbers, ticks as true, nothing empty.
function bodyOf(form, submitter) {
	const body = {};
	for (const el of form.elements) {
		if (!el.name || el.type === "submit" || el.tagName === "BUTTON") continue;
		if ("flag" in el.dataset) { if (el.checked) body[el.name] = true; continue; }
		const text = el.value.trim();
		if (text === "") continue;
		if ("number" in el.dataset) {
			const n = Number(text.replace(",", "."));
			if (Number.isNaN(n)) throw new Error(`${text} is not a number.`);
			body[el.name] = n;
		} else body[el.name] = el.name === "box" ? text.toUpperCase() : text;
	}
	if (submitter?.name) body[submitter.name] = submitter.value;
	return body;
}

function tell(form, text) {
	const el = document.getElementById(form?.dataset.says ?? "reading") ?? document.getElementById("alert");
	el.textContent = text;
}

async function submit(form, submitter) {
	try {
		const body = bodyOf(form, submitter);
		const edge = form.classList.contains("edge");
		if (edge) body.noted = new Date().toISOString();
		const key = form.dataset.op;
		const says = edge ? `edge on station ${body.station}, ${body.parts ?? "counted"} parts, ${body.reason}` : form.querySelector("button")?.textContent ?? "entry";
		await put({ url: form.dataset.send, key, body: JSON.stringify(body), says, seat: form.dataset.seat ?? "", form: form.dataset.says ?? "" });
		form.dataset.op = newKey();
		for (const el of form.elements) delete el.dataset.typed;
		if (edge) {
			// The next change on this station comes after this one, sent or not.
			form.elements.namedItem("after").value = key;
			form.elements.namedItem("parts").value = "";
			for (const name of ["why", "note", "count", "wear_vb", "edge", "minutes", "ago"]) form.elements.namedItem(name).value = "";
			for (const name of ["fresh", "finished"]) form.elements.namedItem(name).checked = false;
			form.querySelector(".asked").hidden = true;
		}
		tell(form, `Taken: ${says}.`);
	} catch (err) { tell(form, err.message); }
}

document.addEventListener("submit", (e) => {
	if (!e.target.dataset.send) return;
	e.preventDefault();
	if (e.target.classList.contains("edge") && !e.submitter?.value) return;
	void submit(e.target, e.submitter);
});

// Enter in a field is no reason: it leads to the reasons.
document.addEventListener("keydown", (e) => {
	if (e.key === "Enter" && e.target instanceof HTMLInputElement && e.target.form?.classList.contains("edge")) {
		e.preventDefault();
		e.target.form.querySelector(".reasons button").focus();
	}
});

// settled: the server has answered an entry.
document.addEventListener("settled", (e) => {
	const { entry, answer } = e.detail;
	if (answer.ok) {
		if (entry.url.endsWith("/edges")) localStorage.setItem(`last ${JSON.parse(entry.body).station}`, JSON.stringify({ key: entry.key, at: Date.now() }));
		tell({ dataset: { says: entry.form || "reading" } }, answer.body.says);
		if (page && answer.body.act === "edge") offerUndo(entry.key);
		if (page) void refresh();
		return;
	}
	if (!page || !entry.seat) return;
	tell(null, `Not booked: ${answer.body.detail}`);
	const form = document.querySelector(`form.edge[data-seat="${entry.seat}"]`);
	if (!form || !entry.url.endsWith("/edges")) return;
	const body = JSON.parse(entry.body);
	if (form.elements.namedItem("after").value === entry.key) form.elements.namedItem("after").value = body.after ?? "";
	if (answer.body.code !== "ask") return;
	// The entry comes back to be answered: the same fields, and why.
	for (const [name, v] of Object.entries(body)) {
		const el = form.elements.namedItem(name);
		if (el && "value" in el && name !== "after" && name !== "reason") enter(el, v, v === true);
	}
	form.querySelector(".asked").hidden = false;
	form.elements.namedItem("why").focus();
	void drop(entry.n); // seen: it stands in the form again
});

// What is entered and not yet sent outlives a refresh: fields, an open question, an opened fold.
document.addEventListener("input", (e) => { if (page && e.target.form?.classList.contains("edge")) e.target.dataset.typed = ""; });

function enter(el, value, checked) {
	if ("flag" in el.dataset) el.checked = checked;
	else el.value = value;
	el.dataset.typed = "";
}

function entered() {
	return Array.from(document.querySelectorAll("form.edge"), (form) => ({
		seat: form.dataset.seat, asked: !form.querySelector(".asked").hidden, open: form.querySelector("details").open,
		fields: Array.from(form.querySelectorAll("[data-typed]"), (el) => ({ name: el.name, value: el.value, checked: el.checked })),
	}));
}

function enterAgain(forms) {
	for (const was of forms) {
		const form = document.querySelector(`form.edge[data-seat="${was.seat}"]`);
		if (!form) continue; // no job runs there any more
		form.querySelector(".asked").hidden = !was.asked;
		form.querySelector("details").open = was.open;
		for (const f of was.fields) {
			enter(form.elements.namedItem(f.name), f.value, f.checked);
		}
	}
}

// refresh reads the page anew and puts its stations in, without losing the place.
async function refresh() {
	try {
		const r = await fetch(location.href, { signal: AbortSignal.timeout(8000) });
		reach(true);
		if (!r.ok || r.redirected) return;
		const fresh = new DOMParser().parseFromString(await r.text(), "text/html").getElementById("seats");
		const typing = document.activeElement instanceof HTMLInputElement && document.activeElement.value !== "";
		if (!fresh || typing) return;
		const was = entered();
		document.getElementById("seats").replaceWith(document.adoptNode(fresh));
		delete document.documentElement.dataset.kept;
		await pickUp();
		enterAgain(was);
	} catch { reach(false); /* the page stays as it is until there is a network */ }
}

// pickUp makes the forms follow what this browser knows and the page does not: op ids of a kept
// page may have been used since, and the next change of a station comes after those that wait or
// were sent after the page was kept. What such a change left of the proposals is not known.
async function pickUp() {
	for (const f of document.querySelectorAll("form[data-send]")) f.dataset.op = newKey();
	const waiting = unsent(await entries()).filter((e) => e.url.endsWith("/edges")).map((e) => ({ key: e.key, station: JSON.parse(e.body).station }));
	const kept = Date.parse(document.documentElement.dataset.kept);
	for (const f of document.querySelectorAll("form.edge")) {
		const station = f.elements.namedItem("station").value;
		const sent = JSON.parse(localStorage.getItem(`last ${station}`));
		const last = waiting.filter((w) => w.station === station).at(-1) ?? (sent?.at > kept ? sent : null);
		if (!last) continue;
		f.elements.namedItem("after").value = last.key;
		const parts = f.elements.namedItem("parts");
		parts.value = "";
		parts.labels[0].textContent = "Parts on this edge: count them, the change before it is not on this page yet";
	}
}

if (page) {
	void pickUp();
	addEventListener("offline", () => reach(false));
	addEventListener("online", () => void refresh());
	setInterval(() => { if (offline()) void refresh(); }, 5000);
	// Only https, or this computer itself, lets a browser keep pages.
	navigator.serviceWorker?.register("/offline.js").then(async () => {
		const worker = await navigator.serviceWorker.ready;
		const keep = () => worker.active.postMessage({ keep: location.pathname });
		if (!navigator.serviceWorker.controller) keep(); // this page came past it
		navigator.serviceWorker.addEventListener("controllerchange", keep); // a newer one keeps newer files
	}).catch(() => { /* the page works as it did, while it stays open */ });
}

function offerUndo(key) {
	const p = document.getElementById("undo-last");
	undoable = key;
	p.hidden = false;
	setTimeout(() => { if (undoable === key) { undoable = null; p.hidden = true; } }, 60000);
}

async function undo() {
	if (!undoable) { tell(null, "There is nothing to undo; the 60 seconds are over."); return; }
	const key = undoable;
	undoable = null;
	document.getElementById("undo-last").hidden = true;
	await put({ url: `/api/v1/bookings/${key}/reversal`, key: newKey(), body: JSON.stringify({ reason: "undone at the machine" }), says: "the undo", seat: "", form: "" });
}

document.getElementById("undo-last")?.querySelector("button").addEventListener("click", () => void undo());

// formFor is the form a scan belongs to: that of its box or job, the one in use, or the only one.
let current = null;
function formFor(test) {
	const forms = [...document.querySelectorAll("form.edge")];
	const seat = [...document.querySelectorAll(".seat")].find(test);
	return seat?.querySelector("form.edge") ?? forms.find((f) => f.dataset.seat === current) ?? (forms.length === 1 ? forms[0] : null);
}

document.addEventListener("focusin", (e) => { const f = e.target.closest?.("form.edge"); if (f) current = f.dataset.seat; });

if (page) document.addEventListener("scanned", (e) => {
	const text = e.detail;
	if (text === page.dataset.tag) { e.preventDefault(); tell(null, "This machine. Scan the box, then the reason"); return; }
	if (text === page.dataset.undo) { e.preventDefault(); void undo(); return; }
	if (text.startsWith("EDGE-")) {
		e.preventDefault();
		const form = formFor(() => false);
		const button = form?.querySelector(`button[data-card="${CSS.escape(text)}"]`);
		if (!form) tell(null, "Several stations run here: scan the box first, or tap a field of the station.");
		else if (!button) tell(null, `${text} is no reason card.`);
		else form.requestSubmit(button);
		return;
	}
	if (/^[LP][0-9]{7}/.test(text)) {
		e.preventDefault();
		const form = formFor((s) => s.dataset.box === text);
		if (!form) { tell(null, "Several stations run here: tap a field of the station the box is for, then scan it again."); return; }
		enter(form.elements.namedItem("box"), text, false);
		current = form.dataset.seat;
		form.querySelector(".reasons button").focus();
		tell(null, `Box ${text}. Now the reason`);
		return;
	}
	const seat = [...document.querySelectorAll(".seat")].find((s) => s.dataset.job && s.dataset.job === text);
	if (seat) { e.preventDefault(); current = seat.querySelector("form.edge")?.dataset.seat; tell(null, `Station of ${text}. Scan the box`); }
});
