// queue keeps what a person entered until the server has stored it. An entry leaves only after
// a stored answer, or after a refusal that a person has seen. Entries go in the order they were
// made, one sender a browser, each with the op id it was made with, so that a lost answer never
// books twice. It counts what is unsent on every page and keeps a log-out back while there is any.
// An entry is sent only while the person who made it is logged in.
import { openDB } from "/static/idb.js";

const WAITS = [1, 2, 5, 15, 30];   // s between two tries
const LIMIT = 8000;                // ms for one try
const MOST = 200;                  // entries; then no new ones are taken
const OLDEST = 24 * 3600 * 1000;   // ms; nor when the oldest waits longer

const db = openDB("brasspeg", 1, { upgrade(d) { d.createObjectStore("out", { keyPath: "n", autoIncrement: true }); } });

// newKey makes an op id. crypto.randomUUID wants https; this does not.
export function newKey() {
	const b = crypto.getRandomValues(new Uint8Array(16));
	return Array.from(b, (x) => x.toString(16).padStart(2, "0")).join("");
}

export async function entries() { return (await db).getAll("out"); }

// put takes an entry {url, key, body, says} into the queue, or says why it may not.
export async function put(entry) {
	const all = await entries();
	if (all.length >= MOST) throw new Error(`${MOST} entries wait to be sent. Get a connection before more is entered.`);
	if (all.length && Date.now() - all[0].at > OLDEST) throw new Error("An entry waits for more than a day. Get a connection before more is entered.");
	await (await db).add("out", { ...entry, at: Date.now(), who: me() });
	await show();
	void drain();
}

export async function drop(n) { await (await db).delete("out", n); await show(); }

// me is who is logged in, as the head of the page says it.
const me = () => document.querySelector(".who span")?.textContent ?? "";

// unsent are the entries that no answer has been seen for.
export const unsent = (all) => all.filter((e) => !e.refused);

const sleep = (s) => new Promise((done) => {
	const t = setTimeout(done, s * 1000);
	addEventListener("online", () => { clearTimeout(t); done(); }, { once: true });
});

let draining = false;

export async function drain() {
	if (draining) return;
	draining = true;
	try {
		// Only https has locks; without them a second tab waits for its own entries' answers,
		// and the op id keeps a double sending from booking twice.
		if (navigator.locks) await navigator.locks.request("brasspeg-out", sendAll);
		else await sendAll();
	} finally { draining = false; }
	await show();
}

async function sendAll() {
	for (let tries = 0; ;) {
		const next = unsent(await entries()).filter((e) => !e.who || e.who === me())[0];
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
			headers: { "Content-Type": "application/json", "Idempotency-Key": e.key },
			body: e.body,
			signal: AbortSignal.timeout(LIMIT),
		});
		reach(true);
		if (r.status >= 500 || r.status === 429) return null;
		if (r.status === 401) {
			note("Log in again to send what waits.");
			navigator.serviceWorker?.controller?.postMessage("forget");
			return null;
		}
		if (r.status === 423) { note("Unlock this computer to send what waits."); return null; }
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
	if (answer.ok) await (await db).delete("out", e.n);
	else {
		e.refused = { status: answer.status, detail: answer.body.detail ?? "Refused.", code: answer.body.code ?? "" };
		await (await db).put("out", e);
		await relink(e);
	}
	await show();
	document.dispatchEvent(new CustomEvent("settled", { detail: { entry: e, answer } }));
}

// relink: what was entered after a refused change names the change before that one.
async function relink(e) {
	const before = JSON.parse(e.body).after;
	if (before === undefined) return;
	for (const w of unsent(await entries())) {
		const body = JSON.parse(w.body);
		if (body.after === e.key) {
			body.after = before;
			w.body = JSON.stringify(body);
			await (await db).put("out", w);
		}
	}
}

function note(text) {
	const el = document.getElementById("unsent-note");
	if (el) el.textContent = text;
}

// show keeps the unsent count and the refused entries on screen.
async function show() {
	const all = await entries();
	const waiting = unsent(all), refused = all.filter((e) => e.refused);
	let box = document.getElementById("unsent");
	if (!all.length && !away) { box?.remove(); return; }
	if (!box) {
		box = document.createElement("section");
		box.id = "unsent";
		box.setAttribute("aria-label", "Not sent yet");
		document.getElementById("main").prepend(box);
	}
	box.replaceChildren();
	if (waiting.length || away) {
		const p = document.createElement("p");
		p.id = "unsent-count";
		p.setAttribute("role", "status");
		const others = waiting.filter((e) => e.who && e.who !== me());
		if (others.length) p.textContent = `◷ ${others.length} ${others.length === 1 ? "entry" : "entries"} of ${others[0].who} not sent yet. They go when that person is logged in here.`;
		else if (away) p.textContent = `◷ Offline: ${waiting.length === 1 ? "1 change waits" : `${waiting.length || "no"} changes wait`}. What is entered is sent once when the network is back.${kept ? ` This page is as it was at ${new Date(kept).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", hourCycle: "h23" })}.` : ""}`;
		else p.textContent = `◷ ${waiting.length} ${waiting.length === 1 ? "entry is" : "entries are"} not sent yet. They wait here until the server has them.`;
		const extra = document.createElement("span");
		extra.id = "unsent-note";
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
		seen.addEventListener("click", () => { void drop(e.n); document.dispatchEvent(new CustomEvent("seen", { detail: e })); });
		p.append(seen);
		box.append(p);
	}
}

// A log-out would leave entries behind that another person's log-in would send as his.
document.addEventListener("htmx:confirm", (ev) => {
	if (ev.detail.path !== "/logout") return;
	ev.preventDefault();
	void entries().then((all) => {
		if (unsent(all).length) { void show(); note("Log out when everything is sent."); } else ev.detail.issueRequest(true);
	});
});

addEventListener("online", () => void drain());
void show();
void drain();
