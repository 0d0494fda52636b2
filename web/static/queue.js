// queue keeps what a person entered until the server has stored it. An entry leaves only after
// a stored answer, or after a refusal that a person has seen. Entries go in the order they were
// made, one sender a browser, each with the op id it was made with, so that a lost answer never
// books twice. It counts what is unsent on every page and keeps a log-out back while there is any.
// An entry is sent only while the person who made it is logged in. What one tab hears, all hear.
import { openDB } from "/static/idb.js";

const WAITS = [1, 2, 5, 15, 30];   // s between two tries
const LIMIT = 8000;                // ms for one try
const MOST = 200;                  // entries; then no new ones are taken
const OLDEST = 24 * 3600 * 1000;   // ms; nor when the oldest waits longer

const db = openDB("brasspeg", 1, { upgrade(d) { d.createObjectStore("out", { keyPath: "n", autoIncrement: true }); } });
const tabs = "BroadcastChannel" in window ? new BroadcastChannel("brasspeg") : null;

// newKey makes an op id. crypto.randomUUID wants https; this does not.
export function newKey() {
	const b = crypto.getRandomValues(new Uint8Array(16));
	return Array.from(b, (x) => x.toString(16).padStart(2, "0")).join("");
}

// tab names this tab, also after it was loaded anew.
export const tab = remembered(sessionStorage, "tab") ?? remember(sessionStorage, "tab", newKey());

// remembered and remember work without storage too, as in a window that keeps nothing.
export function remembered(where, name) { try { return where.getItem(name); } catch { return null; } }
export function remember(where, name, value) { try { where.setItem(name, value); } catch { /* then not */ } return value; }

export async function entries() { return (await db).getAll("out"); }

// put takes an entry {url, key, body, says} into the queue, or says why it may not.
export async function put(entry) {
	const all = unsent(await entries());
	if (all.length >= MOST) throw new Error(`${MOST} entries wait to be sent. Get a connection before more is entered.`);
	if (all.length && Date.now() - all[0].at > OLDEST) throw new Error("An entry waits for more than a day. Get a connection before more is entered.");
	await (await db).add("out", { ...entry, at: Date.now(), who: me(), tab });
	await show();
	tabs?.postMessage({ woken: true });
	void drain();
}

// claim takes an entry out, for one tab only: undefined for all others.
export async function claim(n) {
	const t = (await db).transaction("out", "readwrite");
	const e = await t.store.get(n);
	if (e) await t.store.delete(n);
	await t.done;
	await show();
	tabs?.postMessage({ woken: true });
	return e;
}

// nameOf leaves the role out: who gets another one is the same person.
const nameOf = (text) => text.replace(/, [^,]*$/, "");

// me is who is logged in, as the head of the page says it.
export const me = () => nameOf(document.querySelector(".who span")?.textContent ?? "");

const mine = (e) => !e.who || e.who === me() || nameOf(e.who) === me(); // an older page wrote the role too

// replaced: another person has logged in on this device since this page was opened.
const replaced = () => (remembered(localStorage, "who") ?? me()) !== me();

// unsent are the entries that no answer has been seen for.
export const unsent = (all) => all.filter((e) => !e.refused);

let wake = () => { /* nobody waits */ };
const sleep = (s) => new Promise((done) => {
	const t = setTimeout(done, s * 1000);
	wake = () => { clearTimeout(t); done(); };
});

let draining = false, more = false;

// drain sends what there is. Who calls it while it runs is served too, however late.
export async function drain() {
	more = true;
	wake();
	if (draining) return;
	draining = true;
	try {
		while (more) {
			more = false;
			// Only https has locks; without them a second tab sends too, and the op id keeps a
			// double sending from booking twice.
			if (navigator.locks) await navigator.locks.request("brasspeg-out", sendAll);
			else await sendAll();
		}
	} finally { draining = false; }
	await show();
}

async function sendAll() {
	for (let tries = 0; ;) {
		const next = replaced() ? undefined : unsent(await entries()).find(mine);
		if (!next) return;
		const answer = await send(next);
		if (answer) { tries = 0; await settle(next, answer); continue; }
		await show();
		await sleep(WAITS[Math.min(tries++, WAITS.length - 1)]);
	}
}

// send returns a final answer, or null when it is not known what became of it.
async function send(e) {
	try {
		const r = await fetch(e.url, {
			method: "POST",
			headers: { "Content-Type": "application/json", "Idempotency-Key": e.key, ...e.who && { "Entered-By": encodeURIComponent(me()) } }, // it is mine: mine has looked
			body: e.body,
			signal: AbortSignal.timeout(LIMIT),
		});
		reach(true);
		noted = "";
		if (r.status >= 500 || r.status === 429) return null;
		if (r.status === 401) {
			noted = "Log in again to send what waits.";
			navigator.serviceWorker?.controller?.postMessage("forget");
			return null;
		}
		if (r.status === 423) { noted = "Unlock this computer to send what waits."; return null; }
		const body = await r.json();
		return { ok: r.ok, status: r.status, body };
	} catch { reach(false); return null; }
}

// away: the server was out of reach when it was last asked. A kept page was shown for no other reason.
const kept = document.documentElement.dataset.kept;
let away = kept !== undefined;

// reach notes whether the server could be reached.
export function reach(could) {
	if (away === !could) return;
	away = !could;
	void show();
}

export const offline = () => away;

async function settle(e, answer) {
	const d = await db;
	document.dispatchEvent(new CustomEvent("settling"));
	if (answer.ok) await d.delete("out", e.n);
	else if (await d.get("out", e.n)) { // else another tab has heard more
		e.refused = { status: answer.status, detail: answer.body.detail ?? "Refused.", code: answer.body.code ?? "", field: answer.body.field ?? "" };
		await d.put("out", e);
		await relink(e);
	}
	await show();
	tabs?.postMessage({ entry: e, answer });
	document.dispatchEvent(new CustomEvent("settled", { detail: { entry: e, answer } }));
}

// relink: what was entered after a refused change names the change before that one, and what
// was not booked needs no undo.
async function relink(e) {
	const d = await db, before = JSON.parse(e.body).after;
	for (const w of unsent(await entries())) {
		if (w.url === undoOf(e.key)) { await d.delete("out", w.n); continue; }
		const body = JSON.parse(w.body);
		if (before !== undefined && body.after === e.key) {
			body.after = before;
			w.body = JSON.stringify(body);
			await d.put("out", w);
		}
	}
}

// undoOf is where the booking of an op id is undone.
export const undoOf = (key) => `/api/v1/bookings/${key}/reversal`;

let noted = ""; // what keeps the entries from being sent

function note(text) { noted = text; void show(); }

// countOf says what waits, and for what.
function countOf(waiting) {
	const n = (list) => `${list.length} ${list.length === 1 ? "entry" : "entries"}`;
	const others = waiting.filter((e) => !mine(e));
	if (others.length) return `◷ ${n(others)} of ${others[0].who} not sent yet. They go when that person is logged in here.`;
	if (waiting.length && replaced()) return `◷ ${n(waiting)} of ${me()} not sent yet. Another person has logged in on this device; they go when ${me()} is logged in here.`;
	if (away) return `◷ Offline: ${waiting.length === 1 ? "1 change waits" : `${waiting.length || "no"} changes wait`}. What is entered is sent once when the network is back.${kept ? ` This page is as it was at ${new Date(kept).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", hourCycle: "h23" })}.` : ""}`;
	return `◷ ${waiting.length} ${waiting.length === 1 ? "entry is" : "entries are"} not sent yet. They wait here until the server has them.`;
}

let shown = ""; // what is on screen; the same is not put there again, under a finger or a screen reader

// show keeps the unsent count and the refused entries on screen.
async function show() {
	const all = await entries();
	const waiting = unsent(all), refused = all.filter((e) => e.refused);
	const count = waiting.length || away ? countOf(waiting) : "";
	let box = document.getElementById("unsent");
	const now = JSON.stringify([count, noted, refused.map((e) => e.n)]);
	if (box && now === shown) return;
	shown = now;
	if (!all.length && !away) { box?.remove(); return; }
	if (!box) {
		box = document.createElement("section");
		box.id = "unsent";
		box.setAttribute("aria-label", "Not sent yet");
		document.getElementById("main").prepend(box);
	}
	box.replaceChildren();
	if (count) {
		const p = document.createElement("p");
		p.id = "unsent-count";
		p.setAttribute("role", "status");
		p.textContent = count;
		const extra = document.createElement("p");
		extra.id = "unsent-note";
		extra.setAttribute("role", "status");
		extra.textContent = waiting.length ? noted : "";
		box.append(p, extra);
	}
	for (const e of refused) {
		const p = document.createElement("p");
		p.className = "warn";
		p.setAttribute("role", "alert");
		p.textContent = `△ Not booked: ${e.says}. ${e.refused.detail} `;
		const seen = document.createElement("button");
		seen.className = "quiet";
		seen.type = "button";
		seen.textContent = "I have seen it";
		seen.addEventListener("click", () => void claim(e.n));
		p.append(seen);
		box.append(p);
	}
}

// A log-out would leave entries behind that another person's log-in would send as his.
document.addEventListener("htmx:confirm", (ev) => {
	if (ev.detail.path !== "/logout") return;
	ev.preventDefault();
	void entries().then((all) => {
		if (unsent(all).length) note("Log out when everything is sent."); else ev.detail.issueRequest(true);
	});
});

// What another tab did: it took something in, or it has an answer.
if (tabs) tabs.onmessage = ({ data }) => {
	void show();
	wake();
	if (data.entry) document.dispatchEvent(new CustomEvent("settled", { detail: data }));
};

if (me() && kept === undefined) remember(localStorage, "who", me()); // a kept page is from before
addEventListener("storage", (e) => { if (e.key === "who") { void show(); void drain(); } });
addEventListener("online", () => void drain());
document.addEventListener("visibilitychange", () => { if (document.visibilityState === "visible") void drain(); });
document.getElementById("lock")?.addEventListener("close", () => void drain()); // it was unlocked
void show();
void drain();
