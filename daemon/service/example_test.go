package service_test

import (
	"fmt"
	"time"

	"linecamp/daemon/config"
	"linecamp/daemon/service"
)

// When the rounds of an archive are due: a mirror round has its time each night, and a
// check that should have begun on Sunday, while the machine was off, is due at once.
// [service.Serve] runs them at these times.
func Example() {
	tables, err := service.Timetables(config.Archive{
		Name: "saltbush-draw", Schedule: config.Schedule{Mirror: "30 2 * * *", Verify: "0 4 * * 0"},
	}, 1)
	if err != nil {
		fmt.Println(err)
		return
	}
	monday := time.Date(2026, 7, 6, 9, 0, 0, 0, time.UTC)
	last := func(kind string) (began time.Time, ended bool, err error) {
		if kind == service.Mirror {
			return monday.Add(-6 * time.Hour), true, nil
		}
		return monday.AddDate(0, 0, -8), true, nil
	}
	for _, next := range service.NextRounds(tables, last, monday) {
		fmt.Println(next.Round, next.At.Format("Monday 15:04"))
	}
	fmt.Println("overdue since", tables[service.Verify].Overdue(monday.AddDate(0, 0, -8), monday.AddDate(0, 0, 1)).Format("Monday 15:04"))
	// Output:
	// mirror Tuesday 02:30
	// verify Monday 09:00
	// overdue since Sunday 04:00
}
