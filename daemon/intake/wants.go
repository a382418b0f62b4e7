package intake

// NotAsked is the Reason of a visit where others were named.
const NotAsked = "not asked for"

// Count is the number of files in a state, and their size.
func (p *Plan) Count(state string) (n int, bytes int64) {
	for _, v := range p.Visits {
		for _, f := range v.Files {
			if f.State == state {
				n++
				bytes += f.Bytes
			}
		}
	}
	return n, bytes
}

// Waiting is how many files would be filed if it were told to.
func (p *Plan) Waiting() int { n, _ := p.Count(Planned); return n }

// Wants reports whether something is left for a person: a plan that waits for
// a yes, a picture without a site, a file that could not be read or filed.
func (p *Plan) Wants() bool {
	if len(p.Unread) > 0 {
		return true
	}
	for _, v := range p.Visits {
		for _, f := range v.Files {
			if f.State != Filed {
				return true
			}
		}
	}
	return false
}

// Distance is how far from the site the visit's pictures were taken, in words.
func (v *Visit) Distance() string { return v.units.Distance(*v.Meters) }

// ReasonText is Reason with its distances in the archive's units.
func (v *Visit) ReasonText() string { return v.units.Reword(v.Reason, v.far...) }

// ViewWords say what proposed a view.
var ViewWords = map[string]string{ByName: "by its name", ByContent: "by the look of it", ByOrder: "by its turn", ByPerson: "as told"}
