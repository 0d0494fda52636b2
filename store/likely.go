package store

import (
	"cmp"
	"context"
	"slices"
	"strings"
)

// A Near is a code that a misspelt one may have been.
type Near struct {
	Kind, Code, Name string // Kind: part, place or job
	slips            int
}

// mostNear is how many likely codes are offered: more would be a list to read, not an answer.
const mostNear = 5

// Near finds the codes of parts in use, drawers and jobs that a text of 4 to 40 letters differs
// from by one slip, or by two from 8 letters on, the nearest first, at most 5. A slip is a letter
// wrong, missing or too many, or two swapped; case, spaces and dashes are none. Nothing is ever
// taken for what was meant. It reads every code once, so it is for what was not found otherwise.
func (s *Store) Near(ctx context.Context, text string) ([]Near, error) {
	asked := bareLetters(text)
	if len(asked) < 4 || len(asked) > 40 {
		return nil, nil
	}
	most := 1
	if len(asked) >= 8 {
		most = 2
	}
	var all []Near
	if err := s.read.WithContext(ctx).Raw(`SELECT 'part' AS kind, code, name FROM parts WHERE merged_into IS NULL AND retired_at IS NULL
		UNION ALL SELECT 'place', code, name FROM places WHERE outside = ? AND kind <> 'person' AND retired_at IS NULL
		UNION ALL SELECT 'job', code, name FROM jobs
		ORDER BY 1, 2`, false).Scan(&all).Error; err != nil {
		return nil, err
	}
	var out []Near
	for _, n := range all {
		if n.slips = slips(asked, bareLetters(n.Code), most); n.slips <= most {
			out = append(out, n)
		}
	}
	slices.SortStableFunc(out, func(a, b Near) int { return cmp.Compare(a.slips, b.slips) })
	return out[:min(len(out), mostNear)], nil
}

// bareLetters is a code without what people leave out or add: case, spaces, dashes, points.
func bareLetters(code string) []rune {
	return []rune(strings.Map(func(r rune) rune {
		if strings.ContainsRune(" -_./", r) {
			return -1
		}
		return r
	}, strings.ToUpper(code)))
}

// slips counts how many letters are wrong, missing, too many or swapped with their neighbour from
// a to b; more than most is most+1, without counting on.
func slips(a, b []rune, most int) int {
	if d := len(a) - len(b); d > most || -d > most {
		return most + 1
	}
	before, last := make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range last {
		last[j] = j
	}
	for i := 1; i <= len(a); i++ {
		now := make([]int, len(b)+1)
		now[0] = i
		least := i
		for j := 1; j <= len(b); j++ {
			wrong := 1
			if a[i-1] == b[j-1] {
				wrong = 0
			}
			now[j] = min(last[j]+1, now[j-1]+1, last[j-1]+wrong)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				now[j] = min(now[j], before[j-2]+1)
			}
			least = min(least, now[j])
		}
		if least > most {
			return most + 1
		}
		before, last = last, now
	}
	return min(last[len(b)], most+1)
}
