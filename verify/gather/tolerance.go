package gather

import (
	"linecamp/verify/figures"
)

// Tolerance is how far a visit may be from what is usual without a finding. What
// is zero is as usual: [figures.SeasonDays] and [figures.Meters].
type Tolerance struct {
	SeasonDays int     // days from its season
	Meters     float64 // from the site, beside the error that a photo states
}

// SeasonDays is how many days a visit may be out of its season.
func (in *Input) SeasonDays() int {
	if in.Tolerance.SeasonDays > 0 {
		return in.Tolerance.SeasonDays
	}
	return figures.SeasonDays
}

// Meters is how far from a site a photo may be taken: by the site's card, else
// by the settings.
func (in *Input) Meters(s *SiteItems) float64 {
	switch {
	case s.Card.Meters > 0:
		return s.Card.Meters
	case in.Tolerance.Meters > 0:
		return in.Tolerance.Meters
	}
	return figures.Meters
}
