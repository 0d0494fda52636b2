// wedge tells a scanner's keystrokes from a person's. A scanner types fast: its keys come
// less than GAP apart and end with Enter, Tab or a pause. Its codes are read from the
// physical keys (KeyboardEvent.code), so neither caps lock nor the computer's layout changes
// them. Whatever it types is kept out of the field that has the focus; what a person types
// reaches the field after the GAP in which it could still have been a scanner. A field that
// takes keys in its own way, as a date or a choice, gets them at once, and gets its value back
// when they were a scanner's.

export const GAP = 80;          // ms between two keys of one scan, at most
const SHORTEST = 6;             // keys; shorter bursts are a person's
const ALONE = 700;              // ms without a key before an Enter that stands alone: the Enter
                                // of a scan torn apart by a busy machine must not say yes

const plain = { Minus: "-", Period: ".", Slash: "/", Space: " ", NumpadSubtract: "-", NumpadDivide: "/", NumpadDecimal: "." };
const shifted = { Semicolon: ":", Minus: "_", Digit5: "%", Equal: "+" };

// symbol is the character a scanner set to the US layout means by a key.
function symbol(e) {
	if (/^Key[A-Z]$/.test(e.code)) return e.code[3];
	if (e.shiftKey && shifted[e.code]) return shifted[e.code];
	const digit = /^(?:Digit|Numpad)([0-9])$/.exec(e.code);
	if (digit) return digit[1];
	return plain[e.code] ?? "";
}

// isScan: at least SHORTEST keys and not a bare number, which is a quantity or a PIN.
const isScan = (text) => text.length >= SHORTEST && /[^0-9]/.test(text);

const TEXT = ["text", "search", "password", "number", "email", "tel", "url"];
const editable = (el) => el instanceof HTMLInputElement && TEXT.includes(el.type) || el instanceof HTMLTextAreaElement;

const ownWay = (el) => el instanceof HTMLSelectElement || el instanceof HTMLInputElement && !editable(el) && el.type !== "checkbox" && el.type !== "radio";

const pressable = (el) => el instanceof HTMLButtonElement || el instanceof HTMLAnchorElement || el instanceof HTMLSelectElement || el instanceof HTMLInputElement && !editable(el);

// write puts text at the caret. A number field tells nobody where that is, so the browser does it,
// which also lets a person take it back with the browser's own undo.
function write(el, text) {
	if (!el.isConnected) el = document.getElementById(el.id) ?? el; // the page put it anew meanwhile
	if (el.readOnly) return;
	if (document.activeElement === el && document.execCommand("insertText", false, text)) return;
	if (el.selectionStart === null) el.value += text;
	else el.setRangeText(text, el.selectionStart, el.selectionEnd, "end");
	el.dispatchEvent(new Event("input", { bubbles: true }));
}

// listen calls onScan(text) for every scan in the document, and onEnter for an Enter that
// stands alone: no scan and no typing before it, and nothing focused that it would press.
// elsewhere is the field for what is typed while no field has the focus, as by a quantity key;
// Enter behind it sends the field's form.
export function listen(onScan, onEnter, elsewhere) {
	let scanned = "", typed = "", last = 0, timer = 0, field = null, before = "", pressed = -ALONE;

	// typeIntoField returns the field that was not focused before and is now.
	function typeIntoField() {
		const other = typed && !editable(field) && !ownWay(field) ? elsewhere?.() : null;
		const into = other ?? field;
		const text = typed;
		reset();
		if (text && editable(into)) {
			other?.focus();
			write(into, text);
		}
		return other;
	}
	function reset() {
		clearTimeout(timer);
		scanned = typed = "";
		field = null;
	}
	function scan() {
		const text = scanned;
		if (ownWay(field) && field.value !== before) {
			field.value = before;
			field.dispatchEvent(new Event("change", { bubbles: true }));
		}
		reset();
		onScan(text);
	}
	function pause() {
		if (isScan(scanned)) scan(); else typeIntoField();
	}

	document.addEventListener("keydown", (e) => {
		if (e.isComposing || e.ctrlKey || e.metaKey || e.altKey || e.getModifierState("AltGraph")) return;
		if (e.key === "Shift" || e.key === "CapsLock") return;
		const quick = e.timeStamp - last < GAP;
		if (e.key === "Enter" || e.key === "Tab") {
			if (quick && isScan(scanned)) {
				e.preventDefault();
				e.stopImmediatePropagation();
				scan();
			} else {
				const alone = e.key === "Enter" && !typed && e.timeStamp - pressed > ALONE && !editable(e.target) && !pressable(e.target);
				// Half a scan, torn apart by a busy machine, ends on a button that it must not press.
				if (e.key === "Enter" && quick && typed && !editable(e.target)) e.preventDefault();
				const moved = typeIntoField();
				if (moved && e.key === "Enter") {
					e.preventDefault();
					moved.form.requestSubmit();
				}
				if (alone) onEnter?.();
			}
			last = 0;
			pressed = e.timeStamp;
			return;
		}
		pressed = e.timeStamp;
		if (e.key.length !== 1) { typeIntoField(); return; }
		if (!quick && typed) pause();
		if (e.key === " " && !editable(e.target) && !typed) return; // presses a button, ticks a box, scrolls; within a scan it is a part of it
		last = e.timeStamp;
		scanned += symbol(e);
		typed += e.key;
		if (!field) { field = e.target; before = field.value; }
		if (!ownWay(e.target)) e.preventDefault();
		clearTimeout(timer);
		timer = setTimeout(pause, GAP);
	}, true);
}
