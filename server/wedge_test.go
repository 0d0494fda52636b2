package server

import (
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// What a person types reaches every kind of field whole, whether slowly or fast, and replaces what
// is selected; what a scanner types reaches none, and leaves a field's value as it was.
func TestBrowserTypingReachesEveryField(t *testing.T) {
	sh := newShop(t)
	b := sh.browser(t)
	b.login("brisa")
	b.open("/parts")
	b.js(`(() => {
		const f = document.createElement("form");
		f.id = "all";
		f.innerHTML = ["text", "search", "password", "number", "email", "tel", "url"].map((k) => '<input id="k-' + k + '" type="' + k + '" value="77">').join("") +
			'<textarea id="k-area">77</textarea><input id="k-ro" readonly value="77"><input id="k-box" type="checkbox"><input id="k-date" type="date" value="2026-11-26">' +
			'<select id="k-choice"><option value="a">abc</option><option value="m" selected>mno</option><option value="x">xyz</option></select>';
		document.querySelector("main").prepend(f);
		addEventListener("scanned", (e) => { e.preventDefault(); document.body.dataset.read = e.detail; }, true);
		return "";
	})()`)
	value := func(id string) string { return `document.getElementById("k-` + id + `").value` }
	text := []string{"text", "search", "password", "number", "email", "tel", "url", "area"}
	for _, id := range text {
		b.do(chromedp.Focus("#k-" + id))
		b.js(value(id) + ` = "", ""`)
		b.keys(110*time.Millisecond, "1803")
		b.untilJS(value(id), "1803")
		b.keys(0, "25") // fast, and too short for a scan
		b.untilJS(value(id), "180325")
		b.js(`document.getElementById("k-` + id + `").select(), ""`)
		b.keys(110*time.Millisecond, "46")
		b.untilJS(value(id), "46")
		b.js(`document.execCommand("undo"), ""`)
		b.untilJS(value(id), "180325")
	}
	b.do(chromedp.Focus("#k-ro"))
	b.keys(110*time.Millisecond, "5")
	b.do(chromedp.Focus("#k-box"))
	b.do(chromedp.KeyEvent(" "))
	b.untilJS(`String(document.getElementById("k-box").checked)`, "true")
	b.do(chromedp.Focus("#k-choice"))
	b.keys(110*time.Millisecond, "x")
	b.untilJS(value("choice"), "x")
	b.do(chromedp.Focus("#k-date"))
	b.keys(110*time.Millisecond, "03")
	b.untilJS(value("date"), "2026-03-26")

	for i, id := range append(text, "ro", "box", "choice", "date") {
		was := b.js(value(id) + ` + document.getElementById("k-box").checked`)
		b.js(`document.body.dataset.read = "", ""`)
		b.do(chromedp.Focus("#k-" + id))
		tag := "T" + strings.Repeat(string('A'+rune(i)), 9)
		b.wedge(tag)
		b.untilJS(`document.body.dataset.read`, tag)
		if now := b.js(value(id) + ` + document.getElementById("k-box").checked`); now != was {
			t.Errorf("a scan left %q in the field %s, which said %q", now, id, was)
		}
	}
	if s := b.js(value("ro")); s != "77" {
		t.Errorf("a field that is not for writing says %q", s)
	}
}
