package verify

import (
	"fmt"
	"strings"
)

// DeepReport is what a full decode of the working folder's photos came to.
type DeepReport struct {
	Photos    int          `json:"photos"`    // in the working folder, each content once
	Decoded   int          `json:"decoded"`   // decoded now, or found not to decode
	Known     int          `json:"known"`     // decoded by an earlier check
	Structure int          `json:"structure"` // HEIC, TIFF and raw: nothing but their structure is checked
	Faults    int          `json:"faults"`    // of Decoded and Known, those that do not decode
	Skipped   []NotDecoded `json:"skipped"`   // not decoded, and why
}

// NotDecoded is a photo that was not decoded.
type NotDecoded struct {
	Path   string `json:"path"`
	Reason string `json:"reason"`
}

// line is a decode of the photos in one line.
func (d *DeepReport) line() string {
	parts := []string{fmt.Sprintf("%s: %d decoded", Count(int64(d.Photos), "photo"), d.Decoded)}
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
func (d *DeepReport) lines() (all []string) {
	for _, s := range d.Skipped {
		all = append(all, Shown(s.Path)+": "+Shown(s.Reason))
	}
	return all
}
