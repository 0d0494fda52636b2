// offline is the service worker. It lets the page of a machine be opened anew where there is no
// network: it keeps the files of that page, and the page itself as the server last sent it. It
// never answers a write, never keeps another page, and forgets what it kept of a person's pages
// when that person's session ends. What is entered meanwhile waits in the queue (queue.js).

// The files by their hashes: another file is another list, so another worker and another cache.
const FILES = [
	"/static/app.css", "/static/fonts/sans.woff2", "/static/fonts/sans-bold.woff2", "/static/fonts/mono.woff2", "/static/icon.svg", "/static/scale.svg",
	"/static/htmx.min.js", "/static/json.js", "/static/scan.js", "/static/wedge.js", "/static/queue.js", "/static/idb.js", "/static/entry.js", "/static/machine.js",
];
const VERSION = FILES.map((f) => f.split(".").at(-2)).join("");
const SHELL = `brasspeg shell ${VERSION}`, PAGES = `brasspeg pages ${VERSION}`;

const MACHINE = /^\/machines\/[^/]+$/;
const WAIT = 4000;               // ms that a page may take before the kept one is shown
const OLDEST = 24 * 3600 * 1000; // ms after which a kept page says too little

let forgotten = 0; // counts, so that an answer that was under way is not kept afterwards

addEventListener("install", (e) => e.waitUntil(caches.open(SHELL).then((c) => c.addAll(FILES)).then(() => skipWaiting())));

addEventListener("activate", (e) => e.waitUntil((async () => {
	for (const name of await caches.keys()) if (name !== SHELL && name !== PAGES) await caches.delete(name);
	await clients.claim();
})()));

addEventListener("fetch", (e) => {
	const r = e.request, at = new URL(r.url);
	if (at.origin !== location.origin) return;
	if (at.pathname === "/logout" || at.pathname === "/login" || at.pathname.startsWith("/login/")) e.respondWith(ending(r));
	else if (r.method !== "GET") return; // a write is between the page and the server
	else if (at.pathname.startsWith("/static/")) e.respondWith(file(r));
	else if (MACHINE.test(at.pathname)) e.respondWith(page(e, at.pathname));
});

// A page asks to be kept when it came past this worker, and that all be forgotten when the
// server no longer knows its session.
addEventListener("message", (e) => {
	if (e.data === "forget") e.waitUntil(forget());
	else if (MACHINE.test(e.data?.keep)) e.waitUntil(fetch(e.data.keep).then((answer) => settle(e.data.keep, answer, forgotten)));
});

async function forget() { forgotten++; await caches.delete(PAGES); }

// ending: the server has shown the login page, or let a person in or out.
async function ending(r) {
	const answer = await fetch(r);
	if (answer.ok) await forget();
	return answer;
}

async function file(r) {
	return await (await caches.open(SHELL)).match(r) ?? fetch(r);
}

// page is the server's answer, or in want of one, for a page that is being opened, the kept one.
async function page(e, path) {
	const began = forgotten, kept = e.request.mode === "navigate" ? await find(path) : undefined;
	let answer = null;
	try {
		answer = await (kept ? Promise.race([fetch(e.request), new Promise((_, no) => { setTimeout(no, WAIT); })]) : fetch(e.request));
	} catch { /* no network, or none to speak of */ }
	if (kept && (!answer || answer.status >= 500)) return kept;
	if (!answer) return Response.error();
	const copy = answer.clone();
	e.waitUntil(settle(path, copy, began));
	return answer;
}

// settle keeps a page that is one, with the time in it; a redirect means that the session is over.
async function settle(path, answer, began) {
	if (answer.type === "opaqueredirect" || answer.redirected || answer.status === 401) { await forget(); return; }
	if (answer.status !== 200) return;
	const now = new Date(), text = await answer.text();
	if (began !== forgotten) return;
	const headers = new Headers(answer.headers);
	headers.delete("Content-Length");
	headers.delete("Content-Encoding");
	headers.set("X-Kept", String(now.getTime()));
	await (await caches.open(PAGES)).put(path, new Response(text.replace("<html ", `<html data-kept="${now.toISOString()}" `), { headers }));
}

async function find(path) {
	const kept = await (await caches.open(PAGES)).match(path);
	return kept && Date.now() - Number(kept.headers.get("X-Kept")) < OLDEST ? kept : undefined;
}
