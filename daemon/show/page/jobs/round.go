package jobs

import "linecamp/daemon/service"

// titles are the rounds as the page calls them.
var titles = map[string]string{service.Mirror: "Mirror", service.Verify: "Verify", service.Drill: "Drill"}

// RowOf is the row of a round that another process runs.
func RowOf(u service.UnderWay) Row {
	row := Row{ID: u.Round, What: titles[u.Round], Began: u.Began, Under: true, Outcome: "Under way", Tasks: []TaskRow{}}
	for _, t := range u.Tasks {
		row.Tasks = append(row.Tasks, TaskRow{Name: t.Name, Far: far(t.Done, t.Total), Done: t.Done, Total: t.Total})
	}
	return row
}
