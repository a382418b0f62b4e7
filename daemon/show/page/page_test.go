package page

import (
	"linecamp/daemon"
)

func explainOf(site, why string) daemon.ExplainOptions {
	return daemon.ExplainOptions{Site: site, Years: "2023", Why: why, Who: "<b>who</b>"}
}
