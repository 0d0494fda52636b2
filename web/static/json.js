// Forms marked hx-ext="json" are sent as JSON, the only kind of body the server takes for a
// write: a form on a foreign page cannot send it without asking the browser first.
/* global htmx */
htmx.defineExtension("json", {
	onEvent(name, evt) {
		if (name === "htmx:configRequest") evt.detail.headers["Content-Type"] = "application/json";
		return true;
	},
	encodeParameters(_xhr, parameters) {
		const body = {};
		parameters.forEach((value, key) => { body[key] = value; });
		return JSON.stringify(body);
	},
});
