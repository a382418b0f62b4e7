package daemon

import "linecamp/daemon/service"

// under has a round tell how far it is, to its caller and to other processes.
func (a *Archive) under(round string, p Progress) (Progress, func()) {
	tell, end := service.Under(a.Dir, round, a.Now)
	return func(task string, done, total int64) {
		tell(task, done, total)
		p.Tell(task, done, total)
	}, end
}

// UnderWay are the rounds that some process runs for this archive now.
func (a *Archive) UnderWay() (all []service.UnderWay) {
	for _, round := range service.Kinds {
		if u := service.RoundUnderWay(a.Dir, round); u != nil {
			all = append(all, *u)
		}
	}
	return all
}
