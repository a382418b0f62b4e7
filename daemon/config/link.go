package config

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"linecamp/daemon/config/hours"
	"linecamp/manifest/tomlline"
)

// Link says how much the way to a bucket may be used. The zero value is no limit.
// A mistake in it keeps this bucket out of the rounds, and nothing else.
type Link struct {
	Hours     hours.Hours
	Rate      Rate
	Allowance Allowance // up and down together; Per is "" for no limit
	Fault     *Error    // every mistake in these settings; nil for none
}

// IsLimited reports whether anything limits the link.
func (l Link) IsLimited() bool { return len(l.Hours) > 0 || l.Rate.Bytes > 0 || l.Allowance.Per != "" }

// Rate is how fast bytes may go, up and down together.
type Rate struct {
	Bytes int64  // a second; 0 for no limit
	Text  string // as written
}

// Below leastRate several uploads side by side look like a link on which nothing moves.
const leastRate = 8000

// rates are units of a second, in bytes.
var rates = map[string]float64{
	"bit/s": 1. / 8, "kbit/s": 1e3 / 8, "mbit/s": 1e6 / 8, "gbit/s": 1e9 / 8,
	"b/s": 1, "kb/s": 1e3, "mb/s": 1e6, "gb/s": 1e9,
}

// ParseRate reads how fast bytes may go: "1 Mbit/s", "256 kbit/s", "2 MB/s".
func ParseRate(s string) (Rate, error) {
	number := strings.TrimSpace(s)
	digits := strings.TrimRight(number, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ/")
	unit, ok := rates[strings.ToLower(number[len(digits):])]
	digits = strings.TrimSpace(digits)
	n, err := strconv.ParseFloat(digits, 64)
	if !ok || err != nil || strings.Trim(digits, "0123456789.") != "" {
		return Rate{}, errors.New("this is not a speed linecamp knows; write kbit/s, Mbit/s, kB/s or MB/s, as in \"1 Mbit/s\"")
	}
	switch bytes := math.Round(n * unit); {
	case bytes < leastRate:
		return Rate{}, errors.New("this is too slow for a connection to stay open; write \"64 kbit/s\" or more, and limit the hours or the allowance instead")
	case bytes > 1<<40:
		return Rate{}, errors.New("this is faster than any link; to have no limit, take it out")
	default:
		return Rate{Bytes: int64(bytes), Text: number}, nil
	}
}

// link takes the settings of a bucket's link. Its problems stay with it.
func (f *file) link(t *table) (l Link) {
	had := len(f.Faults)
	for _, s := range t.Words("hours") {
		span, err := hours.Parse(s)
		if err != nil {
			t.Fault("hours", "%v", err)
			break
		}
		l.Hours = append(l.Hours, span)
	}
	if s := t.Text("rate"); s != "" {
		var err error
		if l.Rate, err = ParseRate(s); err != nil {
			t.Fault("rate", "%v", err)
		}
	}
	if s := t.Text("allowance"); s != "" {
		a, err := ParseAllowance(s)
		switch {
		case err != nil:
			t.Fault("allowance", "%s", strings.NewReplacer("2GB/month", "20 GB/month", ", \"0\" for nothing", "").Replace(err.Error()))
		case a.Bytes == 0:
			t.Fault("allowance", "with this nothing would ever be sent; write for instance \"20 GB/month\", or take the copy out of the settings")
		case a.Bytes == Unlimited:
		default:
			l.Allowance = a
		}
	}
	l.Fault = f.apart(had, "")
	return l
}

// apart takes the faults that came since there were so many out of the file's: what is
// wrong with a part that nothing else has to wait for. It is nil for none.
func (f *file) apart(had int, archive string) *Error {
	if len(f.Faults) == had {
		return nil
	}
	of := slices.Clone(f.Faults[had:])
	f.Faults = f.Faults[:had]
	return &Error{File: f.Path, Archive: archive, Problems: of}
}

// encode writes the settings as link reads them.
func (l Link) encode(w *writer) {
	if len(l.Hours) > 0 {
		all := make([]string, len(l.Hours))
		for i, s := range l.Hours {
			all[i] = tomlline.Quote(s.String())
		}
		w.pair("hours", fmt.Sprintf("[%s]", strings.Join(all, ", ")), "when its link may be used; local time")
	}
	if l.Rate.Text != "" {
		w.pair("rate", tomlline.Quote(l.Rate.Text), "how fast")
	}
	if l.Allowance.Text != "" {
		w.pair("allowance", tomlline.Quote(l.Allowance.Text), "how much, up and down together")
	}
}
