package service

import (
	"strings"

	sd "github.com/coreos/go-systemd/v22/daemon"
)

// notifier tells the service manager how the daemon is (sd_notify(3)). Where
// none asked ($NOTIFY_SOCKET is not set) it says nothing. That a message does
// not arrive is no reason to stop keeping photos, so errors are passed over.
type notifier struct{}

func (notifier) ready()            { sd.SdNotify(false, sd.SdNotifyReady) }
func (notifier) alive()            { sd.SdNotify(false, sd.SdNotifyWatchdog) }
func (notifier) stopping()         { sd.SdNotify(false, sd.SdNotifyStopping) }
func (notifier) status(now string) { sd.SdNotify(false, "STATUS="+strings.ReplaceAll(now, "\n", " ")) }

// reloading tells that the config is being read again. The time, on the
// monotonic clock, lets a Type=notify-reload unit match it with its signal.
func (notifier) reloading() {
	sd.SdNotify(false, sd.SdNotifyReloading+"\n"+sd.SdNotifyMonotonicUsec())
}
