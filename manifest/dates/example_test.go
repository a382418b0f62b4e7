package dates_test

import (
	"fmt"
	"time"

	"linecamp/manifest/dates"
)

// A date in numbers alone may mean several days. A name beside it decides.
func Example() {
	c := dates.Until(time.Date(2026, 7, 1, 0, 0, 0, 0, time.UTC))
	fmt.Println(c.Folder("2019-06-21 north side").Day)

	sure, unsure := c.Folder("6-21-18"), c.Folder("06-07-19")
	fmt.Println(unsure.IsUnsure(), unsure.Days())

	stake := dates.Site{Pasture: "Windmill", Name: "Stake 3"}
	all := dates.NewEvidence()
	all.See(&sure, stake, "Windmill/Stake 3/6-21-18", "")
	all.See(&unsure, stake, "Windmill/Stake 3/06-07-19", "")
	fmt.Println(all.Decide("").Reading(unsure, "Windmill/Stake 3/06-07-19", stake).Day)
	// Output:
	// 2019-06-21
	// true [2019-06-07 2019-07-06 2006-07-19]
	// 2019-06-07
}
