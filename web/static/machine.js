// machine is what the operator's page does: a scanned box goes into the form of its station, a
// reason, tapped or scanned, sends it. What is entered goes through the queue, so that a gap in
// the network loses nothing. The worker (offline.js) keeps this page for when it is opened anew
// without one. Other pages use it for their forms of the same kind.
import { put, newKey, claim, entries, unsent, reach, offline, me, tab, undoOf, remember, remembered } from "/static/queue.js";
import { bodyOf, enter, fill, right, wrong } from "/static/entry.js";

const TWICE = 1500;      // ms: a second tap on the same form, with nothing entered between, is none
const UNDO = 60000;      // ms, as the server counts it
const FRESH = 60000;     // ms after which a page in view is read anew
const DRAFT = 12 * 3600; // s that what is half entered is kept for its tab

const page = document.getElementById("machine");

// One act after the other: what a person enters and what the page reads anew never mix.
let turn = Promise.resolve();
const inTurn = (f) => { turn = turn.then(f, f); return turn; };
let acts = 0; // counts them, so that a page read before an act is not shown after it
const ours = new Set(); // op ids of changes that this browser logged

const forms = () => [...document.querySelectorAll("form[data-send]")];
const stationForm = (station) => document.querySelector(`form.edge[data-station="${CSS.escape(station)}"]`);
const formOf = (entry) => entry.station ? stationForm(entry.station) : document.querySelector(`form[data-send="${CSS.escape(entry.url)}"]`);
const field = (form, name) => form.elements.namedItem(name);

function tell(form, text) {
	const el = document.getElementById(form?.dataset.says ?? "reading") ?? document.getElementById("alert");
	if (el) el.textContent = text;
}

// rest takes the focus from fields and buttons, so that no key presses one and the page can be read anew.
const rest = () => document.getElementById("reading")?.focus({ preventScroll: true });

async function submit(form, submitter) {
	let body;
	right(form);
	try { body = bodyOf(form, submitter); } catch (err) { // nothing is sent that can not be read
		tell(form, `Not taken. ${err.message}`);
		if (err.field) wrong(err.field, err.message);
		return;
	}
	if (Date.now() - (form.dataset.taken ?? 0) < TWICE) {
		const said = document.getElementById(form.dataset.says ?? "reading")?.textContent ?? "", twice = "Tapped twice: it is taken once.";
		tell(form, `${said.replace(twice, "").trim()} ${twice}`);
		return;
	}
	if (Date.now() - (form.dataset.moved ?? 0) < TWICE) {
		tell(form, `Not taken: the page changed under your finger. ${form.dataset.last}. Look, and tap again if another edge came off.`);
		return;
	}
	const edge = form.classList.contains("edge"), station = form.dataset.station ?? "", key = form.dataset.op;
	form.dataset.op = newKey();
	form.dataset.taken = Date.now();
	if (edge) body.noted = new Date().toISOString();
	const says = edge ? `edge on station ${station}, ${body.parts ? `${body.parts} ${body.parts === 1 ? "part" : "parts"}` : "parts as counted"}, ${body.reason}`
		: nameOfAct(form, body);
	await inTurn(async () => {
		try {
			await put({ url: form.dataset.send, key, body: JSON.stringify(body), says, station, form: form.dataset.says ?? "" });
		} catch (err) {
			delete form.dataset.taken;
			tell(form, `Not taken. ${err.message}`);
			return;
		}
		acts++;
		ours.add(key);
		for (const el of form.elements) delete el.dataset.typed;
		if (edge) {
			// The next change on this station comes after this one, sent or not.
			field(form, "after").value = key;
			for (const el of form.querySelectorAll("[data-each]")) { el.value = ""; el.checked = false; }
		} else if ("each" in form.dataset) form.reset();
		closeQuestion(form);
		tell(form, `Taken: ${says}.`);
		if (!page) return;
		current = null;
		rest();
		if (edge) offerUndo({ key, station, body, who: me(), at: Date.now() });
		keepDraft();
	});
}

function nameOfAct(form, body) {
	const words = form.querySelector("button")?.textContent ?? "entry";
	return "count" in body ? `${words.toLowerCase()}, ${body.count}` : words;
}

document.addEventListener("submit", (e) => {
	if (!e.target.dataset.send) return;
	e.preventDefault();
	if (e.target.classList.contains("edge") && !e.submitter?.value) return;
	void submit(e.target, e.submitter);
});

// Enter in a field is no reason: it leads to the reasons, to the one that was chosen before.
document.addEventListener("keydown", (e) => {
	if (e.key === "Enter" && e.target instanceof HTMLInputElement && e.target.form?.classList.contains("edge")) {
		e.preventDefault();
		const form = e.target.form, was = form.dataset.reason;
		(was && form.querySelector(`.reasons button[value="${CSS.escape(was)}"]`) || form.querySelector(".reasons button")).focus();
	}
});

document.addEventListener("settling", () => { acts++; });

// settled: the server has answered an entry, of this tab or of another.
document.addEventListener("settled", (e) => {
	const { entry, answer } = e.detail;
	acts++;
	ours.add(entry.key);
	if (answer.ok) {
		if (entry.station && page) remember(localStorage, `last ${entry.station}`, JSON.stringify({ key: entry.key, at: Date.now() }));
		if (entry.tab === tab || !entry.tab) tell({ dataset: { says: entry.form || "reading" } }, answer.body.says);
		if (undoable?.key === entry.key) offerUndo({ ...undoable, at: Date.now() });
	} else {
		if (undoable?.key === entry.key) offerUndo(null);
		const form = formOf(entry), body = JSON.parse(entry.body);
		if (entry.station && form && field(form, "after").value === entry.key) field(form, "after").value = body.after ?? "";
		if (page && entry.undoes) clearEntered(stationForm(entry.undoes)); // it stands as it was
		if (entry.tab === tab) tell({ dataset: { says: entry.form || "reading" } }, `Not booked: ${answer.body.detail}`);
		void inTurn(takeBack);
	}
	if (page) void refresh();
});

// takeBack puts an entry that the server could not take as it was into its form again, with what
// is to be answered or mended, where a person sees it and has entered nothing else meanwhile.
async function takeBack() {
	for (const e of await entries()) {
		if (document.visibilityState !== "visible") return;
		if (!["ask", "invalid"].includes(e.refused?.code) || e.who && e.who !== me()) continue;
		const form = formOf(e);
		const el = form && e.refused.code === "invalid" ? field(form, e.refused.field) : null;
		if (!form || form.querySelector("[data-typed]") || e.refused.code === "invalid" && (!el || el.type === "hidden")) continue;
		if (!await claim(e.n)) continue; // another tab has it
		acts++;
		const body = JSON.parse(e.body);
		fill(form, body);
		if (body.reason) form.dataset.reason = body.reason;
		if (e.refused.code === "ask") openQuestion(form, `${e.refused.detail}${body.reason ? ` You chose: ${body.reason}.` : ""}`);
		else wrong(el, e.refused.detail);
		keepDraft();
	}
}

function openQuestion(form, text) {
	const asked = form.querySelector(".asked");
	if (!asked) return;
	asked.hidden = false;
	asked.querySelector(".question").textContent = text;
	field(form, "why").focus();
}

function closeQuestion(form) {
	const asked = form.querySelector(".asked");
	if (asked) { asked.hidden = true; asked.querySelector(".question").textContent = ""; }
	delete form.dataset.reason;
}

// What is entered and not yet sent outlives a refresh, a log-in and a page loaded anew: fields,
// an open question, an opened fold.
document.addEventListener("input", (e) => {
	const form = e.target.form;
	if (!form?.dataset.send) return;
	e.target.dataset.typed = "";
	delete form.dataset.taken;
	if (!page) return;
	if (e.target.name === "job") field(form, "parts").value = ""; // what was proposed is of the other job
	keepDraft();
});

function entered() {
	return forms().filter((f) => f.id).map((form) => ({
		id: form.id, after: field(form, "after")?.value, job: form.dataset.job, taken: form.dataset.taken, reason: form.dataset.reason,
		question: form.querySelector(".asked:not([hidden]) .question")?.textContent, open: !!form.querySelector("details")?.open,
		fields: Array.from(form.querySelectorAll("[data-typed]"), (el) => ({ name: el.name, value: el.value, checked: el.checked })),
	}));
}

function enterAgain(all) {
	for (const was of all) {
		const form = document.getElementById(was.id);
		if (!form || form.dataset.job !== was.job) continue; // another job runs there now
		if (was.taken) form.dataset.taken = was.taken;
		if (was.reason) form.dataset.reason = was.reason;
		if (form.querySelector("details")) form.querySelector("details").open = was.open;
		for (const f of was.fields) {
			const el = field(form, f.name);
			if (el && el.type !== "hidden") enter(el, f.value, f.checked);
		}
		if (was.question) { form.querySelector(".asked").hidden = false; form.querySelector(".question").textContent = was.question; }
	}
}

function clearEntered(form) {
	for (const el of form?.querySelectorAll("[data-typed]") ?? []) { delete el.dataset.typed; el.value = el.defaultValue; el.checked = false; }
}

const draftName = `draft ${location.pathname}`;
function keepDraft() {
	if (page) remember(sessionStorage, draftName, JSON.stringify({ who: me(), at: Date.now(), all: entered().filter((f) => f.fields.length) }));
}

// enterDraft enters again what was entered before the page was loaded anew, unless another person
// is here, the job is another, or a change was logged since: then it is of an edge that is gone.
function enterDraft() {
	const draft = JSON.parse(remembered(sessionStorage, draftName));
	if (!draft || draft.who !== me() || Date.now() - draft.at > DRAFT * 1000) return;
	const same = draft.all.filter((was) => { const f = document.getElementById(was.id); return f && field(f, "after")?.value === was.after; });
	enterAgain(same.map((was) => ({ ...was, taken: undefined })));
	if (same.length) tell(null, "What you had entered stands in the form again. Choose the reason to log it.");
}

// overtaken: somebody else has logged a change on the station meanwhile, perhaps the very one that
// is being entered. What was entered for it must not be sent as the next one without a look.
function overtaken(was) {
	const form = document.getElementById(was.id), now = form && field(form, "after")?.value;
	if (now === undefined || was.after === undefined || now === was.after || ours.has(now)) return false;
	form.dataset.moved = Date.now();
	tell(null, `${form.dataset.last}.${was.fields.length ? " What you had entered is taken out; if another edge came off since, enter it anew." : ""}`);
	keepDraft();
	return true;
}

let asked = 0, shown = 0, owed = false, held = false; // owed: news wait; held: a finger is down

const owe = () => { if (owed && !held) { owed = false; void refresh(); } };
document.addEventListener("pointerdown", () => { held = true; }, true);
for (const kind of ["pointerup", "pointercancel"]) document.addEventListener(kind, () => { held = false; setTimeout(owe, 300); }, true);
document.addEventListener("focusout", () => setTimeout(owe, 300));

// refresh reads the page anew and puts its stations in, without losing the place. Who is in a
// field or has a finger down is not disturbed: it is put in when he leaves it.
async function refresh() {
	const began = acts, mine = ++asked;
	let r, text;
	try {
		r = await fetch(location.href, { signal: AbortSignal.timeout(8000) });
		text = await r.text();
	} catch { reach(false); return; } // the page stays as it is until there is a network
	reach(true);
	if (r.redirected) { tell(null, "You are logged out. Log in again to see what is new; what you entered is kept."); return; }
	const fresh = r.ok ? new DOMParser().parseFromString(text, "text/html").getElementById("seats") : null;
	if (!fresh) return;
	await inTurn(async () => {
		if (began !== acts || mine < shown) return; // what happened since reads it anew by itself
		const here = document.activeElement, seats = document.getElementById("seats");
		if (held || seats.contains(here) && here.matches("input, select, textarea")) { owed = true; return; }
		shown = mine;
		const was = entered(), open = here?.id;
		seats.replaceWith(document.adoptNode(fresh));
		delete document.documentElement.dataset.kept;
		await pickUp();
		enterAgain(was.filter((w) => !overtaken(w)));
		if (open) document.getElementById(open)?.focus({ preventScroll: true });
		await takeBack();
	});
}

// pickUp makes the forms follow what this browser knows and the page does not: op ids of a kept
// page may have been used since, and the next change of a station comes after those that wait or
// were sent after the page was kept. What such a change left of the proposals is not known.
async function pickUp() {
	const all = unsent(await entries());
	for (const f of document.querySelectorAll("form[data-send]")) f.dataset.op = newKey();
	const undone = new Set(all.map((e) => e.of));
	const waiting = all.filter((e) => e.station && !undone.has(e.key));
	const kept = Date.parse(document.documentElement.dataset.kept);
	for (const f of document.querySelectorAll("form.edge")) {
		const station = f.dataset.station;
		const sent = JSON.parse(remembered(localStorage, `last ${station}`));
		const last = waiting.filter((w) => w.station === station).at(-1) ?? (sent?.at > kept ? sent : null);
		const undoing = all.find((e) => e.of === (last?.key ?? field(f, "after").value));
		if (undoing) { field(f, "after").value = undoing.before; continue; }
		if (!last) continue;
		field(f, "after").value = last.key;
		const parts = field(f, "parts");
		parts.value = "";
		parts.labels[0].textContent = "Parts on this edge: count them, the change before it is not on this page yet";
	}
}

if (page) {
	void inTurn(async () => {
		await pickUp();
		enterDraft();
		const last = JSON.parse(remembered(sessionStorage, "undo"));
		if (last?.who === me() && stationForm(last.station)) offerUndo(last);
		await takeBack();
	});
	addEventListener("offline", () => reach(false));
	addEventListener("online", () => void refresh());
	setInterval(() => { if (offline()) void refresh(); }, 5000);
	// A page that stays open follows the shop; a shared computer must be able to fall asleep.
	const look = () => { if (document.visibilityState === "visible") void refresh(); };
	if (!document.getElementById("lock")) setInterval(look, FRESH);
	document.addEventListener("visibilitychange", look);
	document.getElementById("lock")?.addEventListener("close", look);
	// Only https, or this computer itself, lets a browser keep pages.
	navigator.serviceWorker?.register("/offline.js").then(async () => {
		const worker = await navigator.serviceWorker.ready;
		const keep = () => worker.active.postMessage({ keep: location.pathname });
		if (!navigator.serviceWorker.controller) keep(); // this page came past it
		navigator.serviceWorker.addEventListener("controllerchange", keep); // a newer one keeps newer files
	}).catch(() => { /* the page works as it did, while it stays open */ });
} else void inTurn(takeBack);

// The last change of this tab {key, station, body, at}, as long as it can be undone: 60 seconds
// from when the server has it, so it may be one that still waits.
let undoable = null;

function offerUndo(change) {
	undoable = change;
	remember(sessionStorage, "undo", JSON.stringify(change));
	const p = document.getElementById("undo-last");
	p.hidden = !change;
	if (!change) return;
	p.querySelector("button").textContent = `Undo ${change.body.reason}, station ${change.station.split("/").at(-1)}`;
	setTimeout(async () => {
		if (undoable?.key !== change.key || Date.now() - undoable.at < UNDO) return;
		if (!unsent(await entries()).some((e) => e.key === change.key)) offerUndo(null);
	}, Math.max(0, change.at + UNDO - Date.now()) + 100);
}

// undo takes the last change back, sent or not, and puts it into its form again: what was wrong
// with it is mended there.
async function undo() {
	if (!undoable) { tell(null, "There is nothing to undo; the 60 seconds are over. Ask the attendant."); return; }
	const { key, station, body } = undoable;
	offerUndo(null);
	await inTurn(async () => {
		try {
			await put({ url: undoOf(key), key: newKey(), body: JSON.stringify({ reason: "undone at the machine" }), says: `undo of ${body.reason} on station ${station}`, form: "", of: key, before: body.after ?? "", undoes: station });
		} catch (err) { tell(null, `Not undone. ${err.message}`); return; }
		acts++;
		tell(null, `The undo of ${body.reason} is taken. What was entered stands in the form again.`);
		const form = stationForm(station);
		if (!form) return;
		delete form.dataset.taken;
		if (body.after !== undefined) field(form, "after").value = body.after;
		fill(form, body);
		keepDraft();
	});
}

document.getElementById("undo-last")?.querySelector("button").addEventListener("click", () => void undo());

// current is the station that the last scan or touch was about.
let current = null;

// seatFor is the station a scan belongs to: among those it fits the one in use, or the only one.
// null: it is not known.
function seatFor(fits) {
	const all = [...document.querySelectorAll(".seat")].filter((s) => s.querySelector("form.edge"));
	const fit = all.filter(fits);
	const among = fit.length ? fit : all;
	return among.find((s) => s.querySelector("form.edge").id === current) ?? (among.length === 1 ? among[0] : null);
}

document.addEventListener("focusin", (e) => { const f = e.target.closest?.("form.edge"); if (f) current = f.id; });

const number = (seat) => seat.querySelector("form.edge").dataset.station.split("/").at(-1);

if (page) document.addEventListener("scanned", (e) => {
	if (e.defaultPrevented) return; // the lock took it
	const text = e.detail;
	if (text === page.dataset.tag) { e.preventDefault(); tell(null, "This machine. Scan the box, then the reason"); return; }
	if (text === page.dataset.undo) { e.preventDefault(); void undo(); return; }
	if (text.startsWith("EDGE-")) {
		e.preventDefault();
		const seat = seatFor(() => true);
		const button = seat?.querySelector(`button[data-card="${CSS.escape(text)}"]`);
		if (!seat) tell(null, "Several stations run here: scan the box first, or tap a field of the station.");
		else if (!button) tell(null, `${text} is no reason card.`);
		else button.form.requestSubmit(button);
		return;
	}
	if (/^[LP][0-9]{7}/.test(text)) {
		e.preventDefault();
		const seat = seatFor((s) => s.dataset.box === text);
		if (!seat) { tell(null, `Several stations run here: tap a field of the station that box ${text} is for, then scan it again.`); return; }
		const form = seat.querySelector("form.edge");
		enter(field(form, "box"), text, false);
		delete form.dataset.taken;
		right(form);
		current = form.id;
		form.querySelector(".reasons").focus();
		keepDraft();
		tell(null, `Station ${number(seat)}, box ${text}. Now the reason`);
		return;
	}
	const seat = [...document.querySelectorAll(".seat")].find((s) => s.dataset.jobs.split(" ").includes(text)); // a job's card
	if (seat) {
		e.preventDefault();
		const form = seat.querySelector("form.edge");
		if (form) {
			current = form.id;
			const job = field(form, "job"), chosen = [...job.options ?? []].find((o) => o.value === text || o.dataset.tag === text);
			if (chosen && job.value !== chosen.value) { enter(job, chosen.value, false); field(form, "parts").value = ""; keepDraft(); }
		}
		tell(null, `Station ${number(seat)}, ${text}. Scan the box`);
	}
});
