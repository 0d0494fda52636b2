// Forms marked hx-ext="json" are sent as JSON, the only kind of body the server takes for a
// write: a form on a foreign page cannot send it without asking the browser first.
/* global htmx */
htmx.defineExtension("json", {
	onEvent(name, evt) {
		if (name === "htmx:configRequest") evt.detail.headers["Content-Type"] = "application/json";
		if (name === "htmx:afterRequest") mark(evt.detail.elt, evt.detail.xhr);
		return true;
	},
	encodeParameters(_xhr, parameters) {
		const body = {};
		parameters.forEach((value, key) => { body[key] = value; });
		return JSON.stringify(body);
	},
});

// mark shows which field of a form was refused, and puts the cursor there: the sentence at the
// head of the page may name a thing that several fields could mean.
function mark(form, xhr) {
	if (!(form instanceof HTMLFormElement)) return;
	form.querySelectorAll("[data-refused]").forEach((e) => { e.removeAttribute("aria-invalid"); e.removeAttribute("data-refused"); });
	const name = xhr.getResponseHeader("Refused-Field");
	const field = xhr.status >= 400 && name ? form.elements.namedItem(name) ?? form.elements.namedItem("v:" + name) : null;
	if (!(field instanceof HTMLElement) || field.type === "hidden") return;
	field.setAttribute("aria-invalid", "true");
	field.setAttribute("data-refused", "");
	// Where a scanner types, the page itself says where it types to.
	if (form.contains(document.activeElement) && !form.closest("#machine")) field.focus();
}
