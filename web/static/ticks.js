// ticks ticks or clears every box of a form at once: a button with data-ticks, hidden until there is
// script, says which it will do next and how many are ticked now.
for (const button of document.querySelectorAll("button[data-ticks]")) {
	const boxes = [...button.form.querySelectorAll('input[type="checkbox"]')];
	const told = document.getElementById(button.dataset.ticks);
	const show = () => {
		const n = boxes.filter((b) => b.checked).length;
		button.textContent = n === boxes.length ? "Tick none" : "Tick all";
		told.textContent = `${n} of ${boxes.length} ticked`;
	};
	button.hidden = boxes.length === 0;
	button.addEventListener("click", () => {
		const on = boxes.some((b) => !b.checked);
		for (const b of boxes) b.checked = on;
		show();
	});
	button.form.addEventListener("change", show);
	show();
}
