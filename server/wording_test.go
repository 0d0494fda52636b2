package server

import (
	"html"
	"regexp"
	"strings"
	"testing"
)

// No page shows a person a word that only a program should read, such as no_demand.
func TestPagesSayNoWordOfPrograms(t *testing.T) {
	sh, _ := hungry(t)
	c := sh.as("mads")
	body := regexp.MustCompile(`(?s)<main.*</main>`)
	unseen := regexp.MustCompile(`(?s)<script.*?</script>|<code>.*?</code>|<[^>]*>`)
	word := regexp.MustCompile(`\b[a-z]+_[a-z_]+\b`)
	for _, path := range []string{"/jobs", "/jobs/J-1", "/jobs/J-2", "/jobs/J-5", "/newjob", "/jobs/J-1/edit", "/jobs/J-1/close", "/purchases", "/buying", "/buying/parts/INS-D11-08", "/buying/parts/BAR-40-470",
		"/buying/money", "/buying/levels", "/buying/surplus", "/buying/rules", "/orders", "/suppliers", "/parts/INS-D11-08", "/parts/BAR-40-470", "/parts/HLD-50-40/edit", "/parts/new?name=CNMG+120408&kind=insert",
		"/parts/new?kind=holder", "/parts/new?kind=sleeve", "/parts/new?kind=bar", "/parts/new?kind=head", "/parts/new?kind=hose", "/parts/new?kind=fitting", "/parts/new?kind=spare"} {
		a := c.get(path)
		if a.status != 200 {
			t.Errorf("%s: %d", path, a.status)
		}
		for _, w := range word.FindAllString(html.UnescapeString(unseen.ReplaceAllString(body.FindString(a.body), " ")), -1) {
			t.Errorf("%s says %s", path, w)
		}
	}
	if !strings.Contains(c.get("/buying/parts/INS-D11-08").body, "none seen") {
		t.Error("a part nobody drew is not told so")
	}
}
