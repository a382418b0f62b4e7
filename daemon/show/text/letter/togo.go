package letter

import (
	"fmt"

	"linecamp/daemon/attention"
	"linecamp/daemon/link"
	"linecamp/manifest/words"
)

// ToGo is what is still to go to a copy, and about how long that takes where the settings
// limit its link; o is nil where they do not.
func ToGo(n attention.Amount, o *link.Outlook) string {
	switch {
	case o == nil:
		return n.String() + " still to go"
	case o.Days == 0:
		return n.String() + " to go"
	case o.Long():
		return n.String() + " to go, more than a year"
	case o.Days > 90:
		return fmt.Sprintf("%s to go, about %s", n, words.Count((o.Days+15)/30, "month"))
	case o.Nights:
		return fmt.Sprintf("%s to go, about %s", n, words.Count(o.Days, "night"))
	}
	return fmt.Sprintf("%s to go, about %s", n, words.Count(o.Days, "day"))
}
