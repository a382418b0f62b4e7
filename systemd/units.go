// Package systemd holds the service's units as text.
package systemd

import _ "embed"

// User is the unit for one person's service manager.
//
//go:embed linecamp-user.service
var User string
