package main

import (
	"log/slog"
	"os"
)

// log is where the rooms below tell what is amiss: the error stream.
func (t *tool) log() *slog.Logger { return t.logFrom(slog.LevelWarn) }

// serviceLog is log for the daemon, which tells in full what it does.
func (t *tool) serviceLog() *slog.Logger {
	if t.quiet {
		return t.log()
	}
	return t.logFrom(slog.LevelInfo)
}

func (t *tool) logFrom(level slog.Level) *slog.Logger {
	return slog.New(slog.NewTextHandler(t.errs, &slog.HandlerOptions{Level: level, ReplaceAttr: plainTime}))
}

// plainTime leaves the time out where the system's journal writes its own.
func plainTime(groups []string, a slog.Attr) slog.Attr {
	if len(groups) == 0 && a.Key == slog.TimeKey && os.Getenv("JOURNAL_STREAM") != "" {
		return slog.Attr{}
	}
	return a
}
