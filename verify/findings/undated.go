package findings

import (
	"linecamp/manifest/tally"
	"linecamp/verify"
	"linecamp/verify/gather"
)

// undated finds the photos whose day is not known.
func (x *finder) undated(s *gather.SiteItems, items []gather.Item) {
	all := s.Undated(items, x.in.Now)
	var plain []tally.Undated
	for _, u := range all {
		plain = append(plain, u.Undated)
	}
	todo := tally.Todo(plain)
	for _, u := range all {
		text := u.Question()
		if u.Gone {
			text += " (no longer in your folder; a copy may have them)"
		}
		x.add(s, verify.Finding{Kind: verify.FoundUndated, Paths: u.Paths, Text: text, Todo: todo, Note: !u.Found || u.Filed})
	}
}
