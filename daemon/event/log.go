package event

import (
	"context"
	"log/slog"

	"linecamp/daemon/attention"
	"linecamp/daemon/reach"
	"linecamp/manifest"
	"linecamp/verify"
)

// Log writes events to a log, as warnings where a person is wanted. What is new
// that wants one stands in the lines of the round's end, with all that is not; see stays.
func Log(log *slog.Logger) Sink {
	return func(t Told) {
		log := log.With("archive", t.Archive)
		switch e := t.Event.(type) {
		case RoundBegan:
			log.Info("a round began", "round", e.Round)
		case RoundEnded:
			e.log(log.With("round", e.Round))
		case DamageFound:
			log.Warn("new damage", "copy", e.Copy, "files", e.Files)
			logDamage(log, slog.LevelWarn, "damaged", e.Copy, e.First)
		case DamageGone:
			log.Info("damage is gone", "copy", e.Copy, "files", e.Files)
			logDamage(log, slog.LevelInfo, "damaged no longer", e.Copy, e.First)
		case CopyWentAway:
			log.Info("a copy is out of reach", "copy", e.Copy, "state", e.State, "error", e.Error)
		case CopyCameBack:
			log.Info("a copy is within reach again", "copy", e.Copy)
		case CopyBecameCurrent:
			log.Info("a copy has everything", "copy", e.Copy)
		case AttentionArose:
			if stays(e.Item) {
				logItem(log, e.Item)
			}
		case AttentionEnded:
			log.Info("no longer: "+e.What, "kind", string(e.Kind))
		case Waits:
			level := slog.LevelInfo
			if e.Person {
				level = slog.LevelWarn
			}
			log.Log(context.Background(), level, "waiting to be recorded: "+e.Reason, "files", e.Files, "first", manifest.Printable(e.Path))
		case Missed:
			log.Warn("more happened than could be written here", "events", e.Events)
		}
	}
}

// stays reports whether an item is said once, when it arises, and not at the end of each
// round: that another computer records now is no trouble of a night, and may be meant.
func stays(i attention.Item) bool { return i.Kind == attention.OtherRecorder }

func logItem(log *slog.Logger, i attention.Item) {
	log.Warn(i.What, "kind", string(i.Kind), "since", i.Since.Local().Format("2006-01-02 15:04"), "next", i.Next)
}

func (e RoundEnded) log(log *slog.Logger) {
	for _, c := range e.Copies {
		at, is := slog.LevelInfo, []any{"copy", c.Copy, "files", c.Files, "bytes", c.Bytes}
		if c.State != "" {
			is = append(is, "state", c.State, "versions", c.Versions)
		}
		if c.Damaged > 0 {
			at, is = slog.LevelWarn, append(is, "damaged", c.Damaged)
		}
		if c.Error != "" && c.State != reach.Away {
			at, is = slog.LevelWarn, append(is, "error", c.Error)
		}
		log.Log(context.Background(), at, "a copy after the round", is...)
	}
	for _, i := range e.Attention {
		if !stays(i) {
			logItem(log, i)
		}
	}
	switch e.Outcome {
	case Failed:
		log.Error("the round failed: " + e.Detail)
	case Stopped:
		log.Info("the round was broken off, and carries on later")
	case Wants:
		log.Warn("the round ended, and something needs a person", "new versions", e.Made)
	default:
		log.Info("the round ended; all is well", "new versions", e.Made)
	}
}

func logDamage(log *slog.Logger, level slog.Level, what, copy string, first []verify.Damage) {
	for _, d := range first {
		log.Log(context.Background(), level, what+": "+manifest.Printable(d.Path), "copy", copy, "kind", d.Kind, "detail", d.Detail)
	}
}
