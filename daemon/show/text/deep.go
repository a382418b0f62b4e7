package text

import (
	"fmt"
	"strings"

	"linecamp/manifest/words"
	"linecamp/verify"
)

// line is a decode of the photos in one line.
func deepLine(d *verify.DeepReport) string {
	parts := []string{fmt.Sprintf("%s: %d decoded", words.Count(d.Photos, "photo"), d.Decoded)}
	if d.Known > 0 {
		parts = append(parts, fmt.Sprintf("%d decoded before", d.Known))
	}
	if d.Structure > 0 {
		parts = append(parts, fmt.Sprintf("%d checked by structure only (HEIC, TIFF, raw)", d.Structure))
	}
	if n := len(d.Skipped); n > 0 {
		parts = append(parts, fmt.Sprintf("%d not decoded", n))
	}
	if d.Faults > 0 {
		parts = append(parts, fmt.Sprintf("%d DO NOT DECODE", d.Faults))
	}
	return strings.Join(parts, "; ")
}

// lines are the photos that were not decoded.
func notDecoded(d *verify.DeepReport) (all []string) {
	for _, s := range d.Skipped {
		all = append(all, shown(s.Path)+": "+shown(s.Reason))
	}
	return all
}
