// scan is what a page does with a scan. On the Window it goes to the server, one at a time
// and again with the same op id until there is an answer. On the login page it is a badge.
// On any other page a field for a code takes it, or a line that says so by data-tags gets the
// focus; else it opens what the tag belongs to.
/* global htmx */
import { listen } from "/static/wedge.js";

const TWICE = 1500;                             // ms: the same code inside this is one scan
const RETRY = [1, 2, 5, 15, 30];                // s
const LIMIT = 8000;                             // ms for one try

const alertBox = () => document.getElementById("alert");
const hand = () => document.getElementById("hand");

let lastText = "", lastAt = 0;

function say(text) { alertBox().textContent = text; }

function onScan(text) {
	const now = performance.now();
	const again = text === lastText && now - lastAt < TWICE;
	lastText = text;
	lastAt = now;
	if (again) {
		say(`${text} was read twice within 1.5 seconds. The second reading was not used; scan it again if you mean it.`);
		return;
	}
	// A page may take a scan for itself, as a machine's does with a box.
	if (!document.dispatchEvent(new CustomEvent("scanned", { detail: text, cancelable: true }))) return;
	const badge = document.getElementById("badge");
	const machine = /^M[0-9]{7}./.test(text); // of one, its own page says more
	if (hand() && !(machine && !hand().dataset.held)) enqueue(text);
	else if (badge) { badge.value = text; document.getElementById("pin").focus(); }
	else if (!intoField(text) && !toLine(text)) location.assign("/t/" + encodeURIComponent(text));
}

// intoField puts a scan into a field for codes that has the focus, or into the one a page is there
// for, marked data-scan="page", whose form it sends. What else was entered is not lost by a scan.
function intoField(text) {
	const at = document.activeElement;
	const field = at instanceof HTMLInputElement && at.matches("input.code, input[data-scan]") ? at : document.querySelector('input[data-scan="page"]');
	if (!field || field.readOnly) return false;
	const list = field.value.trimEnd();
	field.value = list.endsWith(",") ? `${list} ${text}` : text;
	field.dispatchEvent(new Event("input", { bubbles: true }));
	field.focus();
	say(`${text} is in the field.`);
	if (field.dataset.scan === "page" && !list.endsWith(",")) field.form.requestSubmit();
	return true;
}

// A number off a box may be too short to be told from typing; the Enter behind it books nothing,
// it goes to the next field.
document.addEventListener("keydown", (e) => {
	const at = e.target;
	if (e.key !== "Enter" || !(at instanceof HTMLInputElement) || !at.matches('input[data-scan]:not([data-scan="page"])')) return;
	e.preventDefault();
	const all = Array.from(at.form.elements).filter((el) => el.type !== "hidden" && !el.disabled);
	all[all.indexOf(at) + 1]?.focus();
});

// toLine goes to the first field of a list that stands for what was scanned.
function toLine(text) {
	const field = document.querySelector(`[data-tags~="${CSS.escape(text)}"]`);
	if (!field) return false;
	field.focus();
	field.select?.();
	say("");
	return true;
}

// The queue: scans wait here while one is on its way, in the order they were read.
const waiting = [];
let sending = false;

function enqueue(text) {
	waiting.push(text);
	if (!sending) void drain();
}

async function drain() {
	sending = true;
	while (waiting.length) {
		await send(waiting[0]);
		waiting.shift();
	}
	sending = false;
}

const sleep = (s) => new Promise((done) => setTimeout(done, s * 1000));

async function send(text) {
	const el = hand();
	const body = JSON.stringify({ op: el.dataset.op, held: el.dataset.held, scan: text });
	for (let tries = 0; ; tries++) {
		try {
			const answer = await fetch("/window/scan", {
				method: "POST",
				headers: { "Content-Type": "application/json", "HX-Request": "true" },
				body,
				signal: AbortSignal.timeout(LIMIT),
			});
			if (answer.status < 500) {
				show(answer, await answer.text());
				return;
			}
		} catch { /* no answer: it is not known whether it was booked, so the same op id goes again */ }
		const wait = RETRY[Math.min(tries, RETRY.length - 1)];
		say(`No answer yet for ${text}. Trying again in ${wait} s; ${waiting.length} scan${waiting.length > 1 ? "s" : ""} waiting. Do not scan it again.`);
		await sleep(wait);
	}
}

function show(answer, html) {
	if (answer.status === 401) { location.assign("/login"); return; }
	if (answer.status === 423) document.dispatchEvent(new Event("locked"));
	if (answer.headers.get("HX-Retarget") === "#alert") {
		alertBox().innerHTML = html;
		return;
	}
	say("");
	htmx.swap("#hand", html, { swapStyle: "outerHTML" });
	settle();
	if (document.getElementById("undo")) htmx.trigger(document.body, "booked");
}

// After each answer the focus leaves fields and buttons, so that no key of the next scan can
// press one, and the undo button goes when its minute is over.
function settle() {
	const el = hand();
	if (!el) return;
	el.querySelector("#reading")?.focus();
	const undo = el.querySelector("#undo");
	if (undo) setTimeout(() => undo.remove(), Number(undo.dataset.ms));
	const clear = Number(el.dataset.clearMs);
	if (clear) setTimeout(() => { if (hand() === el && !sending) enqueue("CLEAR"); }, clear);
}

document.addEventListener("submit", (e) => {
	if (e.target.id !== "typed") return;
	e.preventDefault();
	const input = e.target.elements.namedItem("scan");
	enqueue(input.value);
	input.value = "";
});
document.addEventListener("htmx:afterSwap", settle);

// On the Window Enter alone means yes to what it says comes next, and what is typed goes into
// its field, whatever has the focus.
listen(onScan, () => { if (hand()?.dataset.held) enqueue(""); }, () => hand() && document.getElementById("scan"));
settle();
