package sites

import "linecamp/manifest"

// GoesOnFrom is the decision with which the record of a further object says which closed
// one it goes on from.
func (c *Catalogue) GoesOnFrom(slug string) manifest.Decision {
	line := c.Log().AllClosed()[slug]
	return manifest.Decision{What: manifest.Joined, Who: "linecamp", When: line.At, Why: line.Why, Path: slug}
}

// WentOnFrom are the objects that o's record ever joined to it. Whoever parts them again
// has them shown as two sites; the closed one was gone on from all the same.
func (o *Object) WentOnFrom() (slugs []string) {
	for _, d := range o.Rec.Decisions {
		if d.What == manifest.Joined {
			slugs = append(slugs, d.Path)
		}
	}
	return slugs
}
