// lock locks a shared computer that nobody touches. The page beneath stays as it is, so that
// what was half done can go on; the server refuses everything until the badge or the PIN of
// whoever logged in opens it again.
const AFTER = 2 * 60 * 1000; // ms without a touch, as the server counts it
const dialog = document.getElementById("lock");
const form = document.getElementById("unlock");
const wrong = document.getElementById("unlock-wrong");
let timer = 0;

function touched() {
	clearTimeout(timer);
	timer = setTimeout(lock, AFTER);
}

// lock hides the page first: whether the server hears of it or not.
function lock() {
	if (!dialog || dialog.open) return;
	clearTimeout(timer);
	dialog.showModal();
	fetch("/lock", { method: "POST" }).catch(() => { /* it counts by itself */ });
}

async function unlock(given) {
	wrong.textContent = "";
	try {
		const answer = await fetch("/unlock", {
			method: "POST",
			headers: { "Content-Type": "application/json", Accept: "application/json" },
			body: JSON.stringify({ given }),
			signal: AbortSignal.timeout(8000),
		});
		if (answer.ok) {
			if (!dialog) { location.reload(); return; }
			dialog.close();
			touched();
			return;
		}
		if (answer.status === 401 && (await answer.clone().json()).code === "login") { location.assign("/login"); return; }
		wrong.textContent = (await answer.json()).detail ?? "That does not unlock it.";
	} catch { wrong.textContent = "No answer. Try again in a moment."; }
}

form?.addEventListener("submit", (e) => {
	e.preventDefault();
	const field = form.elements.namedItem("given");
	void unlock(field.value);
	field.value = "";
});
// A scan while it is locked is a badge, and nothing else.
document.addEventListener("scanned", (e) => {
	if (dialog && !dialog.open) return;
	e.preventDefault();
	void unlock(e.detail);
});
document.addEventListener("locked", lock);
document.addEventListener("htmx:beforeSwap", (e) => { if (e.detail.xhr.status === 423) lock(); });
if (dialog) {
	dialog.addEventListener("cancel", (e) => e.preventDefault());
	for (const kind of ["keydown", "pointerdown", "scroll"]) document.addEventListener(kind, touched, { capture: true, passive: true });
	touched();
}
