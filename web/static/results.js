// results moves between what a search found with the arrow keys, and back to the field.
document.addEventListener("keydown", (e) => {
	if (e.key !== "ArrowDown" && e.key !== "ArrowUp") return;
	const field = document.getElementById("q");
	const links = [...document.querySelectorAll("main section a")];
	const at = links.indexOf(document.activeElement);
	if (at < 0 && document.activeElement !== field) return;
	e.preventDefault();
	const next = at + (e.key === "ArrowDown" ? 1 : -1);
	(next < 0 ? field : links[Math.min(next, links.length - 1)])?.focus();
});
