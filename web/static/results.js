// results moves between what a search found with the arrow keys, and back to the field; Enter
// opens what has the focus. What was asked is marked, so that typing asks anew.
const field = document.getElementById("q");
if (field?.value && document.activeElement === field) field.select();
document.addEventListener("keydown", (e) => {
	if (!["ArrowDown", "ArrowUp", "Escape"].includes(e.key) || e.ctrlKey || e.altKey || e.metaKey) return;
	let links = [...document.querySelectorAll("main section th a, main section li > a")];
	if (!links.length) links = [...document.querySelectorAll("main > p a")];
	const at = links.indexOf(document.activeElement);
	if (at < 0 && document.activeElement !== field && document.activeElement !== document.body) return;
	e.preventDefault();
	if (e.key === "Escape" || at === 0 && e.key === "ArrowUp") {
		field?.focus();
		field?.select();
		return;
	}
	links[Math.max(0, Math.min(at + (e.key === "ArrowDown" ? 1 : -1), links.length - 1))]?.focus();
});
