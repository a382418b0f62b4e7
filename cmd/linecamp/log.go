package main

import (
	"log/slog"
	"os"
)

// log is where the rooms below tell what they do: to the error stream, for the
// service in full, for a command only what is amiss.
func (t *tool) log() *slog.Logger {
	level := slog.LevelWarn
	return slog.New(slog.NewTextHandler(t.errs, &slog.HandlerOptions{Level: level, ReplaceAttr: plainTime}))
}

// serviceLog is log for the daemon.
func (t *tool) serviceLog() *slog.Logger {
	level := slog.LevelInfo
	if t.quiet {
		level = slog.LevelWarn
	}
	return slog.New(slog.NewTextHandler(t.errs, &slog.HandlerOptions{Level: level, ReplaceAttr: plainTime}))
}

// plainTime leaves the time out where the system's journal writes its own.
func plainTime(groups []string, a slog.Attr) slog.Attr {
	if len(groups) == 0 && a.Key == slog.TimeKey && os.Getenv("JOURNAL_STREAM") != "" {
		return slog.Attr{}
	}
	return a
}
