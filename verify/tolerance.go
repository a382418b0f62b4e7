package verify

// Tolerance is how far a visit may be from what is usual without a finding. What
// is zero is as usual: [SeasonDays] and [Metres].
type Tolerance struct {
	SeasonDays int     // days from its season
	Metres     float64 // from the site, beside the error that a photo states
}

// What is tolerated where nobody set it.
const (
	SeasonDays = 21
	Metres     = 50.0
)

func (in *YearsInput) seasonDays() int {
	if in.Tolerance.SeasonDays > 0 {
		return in.Tolerance.SeasonDays
	}
	return SeasonDays
}

// metres is how far from a site a photo may be taken: by the site's card, else
// by the settings.
func (in *YearsInput) metres(s *SiteItems) float64 {
	switch {
	case s.Card.Metres > 0:
		return s.Card.Metres
	case in.Tolerance.Metres > 0:
		return in.Tolerance.Metres
	}
	return Metres
}
