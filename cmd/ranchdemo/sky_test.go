package main

import (
	"testing"
	"time"

	"linecamp/cmd/ranchdemo/ranch"
	"linecamp/daemon/intake/sky"
)

// TestSkyOnTheRanch measures the proposal of a view on the ranch's own pictures,
// every fifth visit: it may be unsure now and then, and is never wrong.
func TestSkyOnTheRanch(t *testing.T) {
	r := ranch.New(1, time.Date(2025, 12, 31, 0, 0, 0, 0, time.UTC))
	counts := map[string]map[string]int{"plot": {}, "landscape": {}}
	for i := 0; i < len(r.Visits); i += 5 {
		v := r.Visits[i]
		plot, landscape := sky.Look(ranch.Plot(r.Seed, v)), sky.Look(ranch.Landscape(r.Seed, v))
		counts["plot"][plot]++
		counts["landscape"][landscape]++
		if plot == sky.Sky || landscape == sky.Ground {
			t.Errorf("%s: the plot is called %s, the landscape %s", v.Folder(), plot, landscape)
		}
	}
	t.Logf("%v", counts)
	for view, c := range counts {
		sure := c[sky.Sky] + c[sky.Ground]
		if 10*c[sky.Unsure] > sure+c[sky.Unsure] {
			t.Errorf("%s: unsure of %d of %d", view, c[sky.Unsure], sure+c[sky.Unsure])
		}
	}
}
