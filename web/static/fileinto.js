// fileinto reads a file a person chose into the text field named by data-into, so that what is
// sent is what is seen.
document.addEventListener("change", async (e) => {
	const into = e.target.dataset?.into;
	const file = e.target.files?.[0];
	if (!into || !file) return;
	document.getElementById(into).value = await file.text();
});
