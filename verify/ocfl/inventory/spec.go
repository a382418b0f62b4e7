package inventory

import "fmt"

// Spec is a version of the specification, in order.
type Spec int

const (
	UnknownSpec Spec = iota
	Spec10
	spec11
)

func (s Spec) String() string {
	switch s {
	case Spec10:
		return "1.0"
	case spec11:
		return "1.1"
	}
	return "unknown"
}

func ParseSpec(s string) Spec {
	switch s {
	case "1.0":
		return Spec10
	case "1.1":
		return spec11
	}
	return UnknownSpec
}

// TypeSpec is the version that an inventory's type names.
func TypeSpec(typ string) Spec {
	for _, s := range []Spec{Spec10, spec11} {
		if typ == fmt.Sprintf("https://ocfl.io/%s/spec/#inventory", s) {
			return s
		}
	}
	return UnknownSpec
}

// Unread is the code of what could not be read, which the standard has none for.
const Unread = "unreadable"

// Clip shortens and quotes outside text for a detail.
func Clip(s string) string {
	const most = 120
	if len(s) > most {
		return fmt.Sprintf("%q…", s[:most])
	}
	return fmt.Sprintf("%q", s)
}
