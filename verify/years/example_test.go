package years_test

import (
	"fmt"
	"time"

	"linecamp/manifest"
	"linecamp/verify/gather"
	"linecamp/verify/years"
)

// A site that is visited each June, with a note each time: one visit brought no note,
// and in one year nobody came.
func ExampleJudge() {
	site := gather.SiteItems{Site: "Stake 3", Pasture: "Windmill"}
	for _, year := range []int{2018, 2019, 2020, 2021, 2022, 2024, 2025} {
		visit := fmt.Sprintf("%d-06-21", year)
		site.Extra = append(site.Extra, gather.Item{Path: visit + "/plot.jpg", Kind: manifest.KindPhoto, View: "plot", Visit: visit})
		if year != 2021 {
			site.Extra = append(site.Extra, gather.Item{Path: visit + "/notes.txt", Kind: manifest.KindNote, Visit: visit})
		}
	}
	in := gather.Input{Now: time.Date(2026, 7, 1, 0, 0, 0, 0, time.UTC), Sites: []gather.SiteItems{site}}
	for _, y := range years.Judge(in) {
		fmt.Println(y.Year, y.State, y.Lacks)
	}
	// Output:
	// 2018 whole []
	// 2019 whole []
	// 2020 whole []
	// 2021 short [note]
	// 2022 whole []
	// 2023 skipped []
	// 2024 whole []
	// 2025 whole []
	// 2026 due []
}
