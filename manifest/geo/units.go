package geo

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
)

// Units are what a person reads distances in. Reports hold meters, and so does
// their JSON; only what is printed for a person goes by Units. The zero value is
// Meters.
type Units string

// The units there are.
const (
	Meters Units = "meters"
	Feet   Units = "feet"
)

// Foot is the international foot in meters, exact by definition.
const (
	Foot = 0.3048
	mile = 5280 * Foot
)

// ParseUnits reads the name of units.
func ParseUnits(s string) (Units, error) {
	switch strings.ToLower(s) {
	case "feet":
		return Feet, nil
	case "meters", "metres":
		return Meters, nil
	}
	return "", errors.New("there are no such units; write \"feet\" or \"meters\"")
}

// Distance writes a distance for a person: in feet and miles, or in meters and
// kilometers.
func (u Units) Distance(meters float64) string {
	small, name, large, far := meters, "m", meters/1000, "km"
	most := 1000.0 // of the small unit
	if u == Feet {
		small, name, large, far, most = meters/Foot, "ft", meters/mile, "mi", 2640
	}
	switch {
	case small < most-0.5:
		return fmt.Sprintf("%.0f %s", small, name)
	case large < 9.95:
		return fmt.Sprintf("%.1f %s", large, far)
	}
	return fmt.Sprintf("%.0f %s", large, far)
}

// Reword writes the distances in a text, which stand there in meters and in this
// order, as u has them.
func (u Units) Reword(text string, meters ...float64) string {
	if u != Feet {
		return text
	}
	var b strings.Builder
	for _, m := range meters {
		before, after, ok := strings.Cut(text, Meters.Distance(m))
		if !ok {
			break
		}
		b.WriteString(before + u.Distance(m))
		text = after
	}
	return b.String() + text
}

// ParseLength reads a distance that a person gives, "150ft" or "50m", in meters.
// A number alone is meters.
func ParseLength(s string) (meters float64, err error) {
	digits := strings.TrimRight(s, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ")
	unit, ok := map[string]float64{"": 1, "m": 1, "meter": 1, "meters": 1, "metre": 1, "metres": 1, "ft": Foot, "foot": Foot, "feet": Foot}[strings.ToLower(s[len(digits):])]
	n, nerr := strconv.ParseFloat(strings.TrimSpace(digits), 64)
	if !ok || nerr != nil || strings.Trim(strings.TrimSpace(digits), "0123456789.") != "" {
		return 0, fmt.Errorf("%q is not a distance; write for instance 150ft or 50m", s)
	}
	return n * unit, nil
}
