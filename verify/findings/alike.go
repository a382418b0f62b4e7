package findings

import (
	"cmp"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"unicode"

	"linecamp/manifest"
	"linecamp/manifest/geo"
	"linecamp/verify"
	"linecamp/verify/figures"
	"linecamp/verify/gather"
	"linecamp/verify/years"
)

// Alikes finds sites that look like one stake: one ends where the other begins,
// by its own cadence, and both stand in one place; or, where positions do not
// tell, they lie in one pasture and one name is the other's with "old", "new" or
// a "b". It is asked after [gather.Input.Join]. What has another explanation is
// passed over: a site that its card retires or replaces, a third site so near
// that places do not tell them apart, a row of names with letters.
func Alikes(in gather.Input) (all []verify.Alike) {
	visited := make([][]int, len(in.Sites))
	for i := range in.Sites {
		visited[i] = years.Visited(&in.Sites[i], in.Now)
	}
	var at []place
	for i := range in.Sites {
		for k := range in.Sites {
			former, now := &in.Sites[i], &in.Sites[k]
			if i == k || former.Object == "" || now.Object == "" || former.Site == "" || now.Site == "" ||
				former.Card.Retired != "" || now.Card.Replaces != "" {
				continue
			}
			named, said := false, false
			if former.Pasture == now.Pasture {
				named, said = namedAlike(former.Site, now.Site)
			}
			if !follows(visited[i], visited[k], named && said) || decided(former, now) {
				continue
			}
			if at == nil {
				at = places(in)
			}
			text := ""
			var far []float64
			switch {
			case at[i].known && at[k].known:
				d := geo.Distance(at[i].at, at[k].at)
				if d > min(in.Meters(former), in.Meters(now)) || crowded(&in, at, visited, i, k) {
					continue
				}
				text = fmt.Sprintf("it begins where the other ended, %s from it", geo.Meters.Distance(d))
				far = append(far, d)
			case named && !lettered(&in, former, now):
				text = "it begins where the other ended, with nearly its name"
			default:
				continue
			}
			all = append(all, verify.Alike{Now: alikeSite(now, visited[k]), Former: alikeSite(former, visited[i]), Text: text, Distances: far})
		}
	}
	slices.SortFunc(all, func(a, b verify.Alike) int {
		return cmp.Or(cmp.Compare(a.Now.Object, b.Now.Object), cmp.Compare(a.Former.Object, b.Former.Object))
	})
	return all
}

func alikeSite(s *gather.SiteItems, years []int) verify.AlikeSite {
	return verify.AlikeSite{Site: s.Site, Pasture: s.Pasture, Object: s.Object, First: years[0], Last: years[len(years)-1]}
}

// follows reports whether the visited years of b begin right after those of a:
// the next year, or the year in which the next visit to a was due. Where their names
// say that one took the other's place, its first visit is enough, and both may have been
// visited in the year it was set.
func follows(a, b []int, said bool) bool {
	if len(a) < figures.FewestEach || len(b) < figures.FewestEach && !(said && len(b) > 0) {
		return false
	}
	gap := b[0] - a[len(a)-1]
	return (gap > 0 || gap == 0 && said) && gap <= years.Cadence(a)
}

// decided reports whether a person said of two sites, or of any that they took
// over, whether they are one.
func decided(a, b *gather.SiteItems) bool {
	said := func(s, other *gather.SiteItems) bool {
		return slices.ContainsFunc(s.Decisions, func(d manifest.Decision) bool {
			return verify.IsPairing(d) && (d.Path == other.Object ||
				slices.ContainsFunc(other.Formers, func(f verify.Former) bool { return f.Object == d.Path }))
		})
	}
	return said(a, b) || said(b, a)
}

// crowded reports whether a third site stands as near to one of two as they to
// each other may, in the same years: a row of stakes, which places do not tell
// apart.
func crowded(in *gather.Input, at []place, years [][]int, a, b int) bool {
	for c := range in.Sites {
		if c == a || c == b || !at[c].known || len(years[c]) == 0 {
			continue
		}
		for _, x := range []int{a, b} {
			if years[c][0] <= years[x][len(years[x])-1] && years[x][0] <= years[c][len(years[c])-1] &&
				geo.Distance(at[c].at, at[x].at) <= figures.RowFold*in.Meters(&in.Sites[x]) {
				return true
			}
		}
	}
	return false
}

// What people write into a folder's name when a stake is set anew, and what stands
// between such words. From common practice.
var (
	endedWords = []string{"old", "former", "formerly", "previous", "original", "replaced", "lost"}
	begunWords = []string{"new", "replaces", "replace", "replacing", "replacement", "reset", "relocated"}
	fillWords  = []string{"the", "one", "for", "of", "post", "stake"}
)

// namedAlike reports whether the name of a site that ended and that of the one
// that followed it differ only in what people add when a stake is set anew. said:
// one of them says so in words, as "NEW stake 4 (replaces old)".
func namedAlike(former, now string) (alike, said bool) {
	f, old := stripped(former, endedWords, nil)
	n, fresh := stripped(now, begunWords, endedWords)
	letter := false
	if !fresh {
		n, letter = withoutLetter(n)
	}
	return f == n && f != "" && (old || fresh || letter || former != now), old || fresh
}

// stripped is a name without case, accents and what stands between its words, and
// without what at its beginning and end is said of a stake set anew, if one of marks
// is said there.
func stripped(name string, marks, also []string) (plain string, had bool) {
	words := strings.Split(plainName(name), "-")
	from, to := 0, len(words)
	said := func(w string) bool { return slices.Contains(marks, w) || slices.Contains(also, w) }
	for from < len(words)-1 && said(words[from]) {
		from++
	}
	for i := len(words) - 1; i > from && (said(words[i]) || slices.Contains(fillWords, words[i])); i-- {
		if said(words[i]) {
			to = i
		}
	}
	for _, w := range slices.Concat(words[:from], words[to:]) {
		had = had || slices.Contains(marks, w)
	}
	if !had {
		from, to = 0, len(words)
	}
	return strings.Join(words[from:to], "-"), had
}

var numberB = regexp.MustCompile(`^(.*[0-9])-?b$`)

// withoutLetter takes the b from "stake-3b".
func withoutLetter(plain string) (string, bool) {
	if m := numberB.FindStringSubmatch(plain); m != nil {
		return m[1], true
	}
	return plain, false
}

// lettered reports whether the pasture has other sites of the same number with
// letters: then a b is one of several, and not a stake set anew.
func lettered(in *gather.Input, former, now *gather.SiteItems) bool {
	base, had := withoutLetter(plainName(now.Site))
	return had && slices.ContainsFunc(in.Sites, func(s gather.SiteItems) bool {
		n, ok := strings.CutPrefix(plainName(s.Site), base)
		n = strings.TrimPrefix(n, "-")
		return ok && s.Pasture == now.Pasture && len(n) == 1 && n >= "a" && n <= "z" && n != "b"
	})
}

// plainName is a name in small letters without accents, with a hyphen for whatever
// stands between its words.
func plainName(s string) string {
	return strings.Join(strings.FieldsFunc(manifest.Folded(s), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsNumber(r) && !unicode.IsMark(r) }), "-")
}
