package server

import (
	"testing"

	"brasspeg/server/access"
)

// The head shows each role few words, and every page it may open stands in it once.
func TestHeadOfEachRole(t *testing.T) {
	for _, role := range access.Roles[1:] {
		for _, g := range nav {
			for _, w := range g.words {
				var f frame
				f.words(role, w.href)
				seen, here := map[string]int{}, 0
				all := f.Words
				for _, m := range f.More {
					all = append(all, m.Words...)
				}
				for _, x := range all {
					seen[x.Href]++
					if x.Here {
						here++
						if x.Href != w.href {
							t.Errorf("%s at %s: %s is marked", role, w.href, x.Href)
						}
					}
				}
				may := access.Of(role, w.right) != access.No
				if n := seen[w.href]; may && n != 1 || !may && n != 0 {
					t.Errorf("%s may open %s: %v; it stands in the head %d times", role, w.href, may, n)
				}
				if may && here != 1 {
					t.Errorf("%s at %s: %d words are marked", role, w.href, here)
				}
				if len(f.Words) < 3 || len(f.Words) > 5 || seen[""] > 0 {
					t.Errorf("%s has %d words on top, one of them may be none: %v", role, len(f.Words), f.Words)
				}
			}
		}
	}
	// A page below a word belongs to it, the longest address wins.
	for path, want := range map[string]string{"/jobs/:code": "/jobs", "/newjob": "/jobs", "/parts/:code": "/search", "/parts/new": "/parts/new", "/parts/import": "/parts/new", "/buying/parts/:code": "/buying"} {
		var f frame
		f.words(access.Manager, path)
		for _, m := range append(f.More, wordGroup{Words: f.Words}) {
			for _, x := range m.Words {
				if x.Here != (x.Href == want) {
					t.Errorf("at %s the word %s is marked: %v", path, x.Href, x.Here)
				}
			}
		}
	}
}
