package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"linecamp/cmd/ranchdemo/ranch"
	"linecamp/manifest/store/s3test"
	"linecamp/manifest/words"
)

// seed fixes the drawing: everybody's practice ranch is the same.
const seed = 2009

// story is one run through the whole job.
type story struct {
	at    place
	out   io.Writer
	began time.Time
	named string // the linecamp to run; built from the source where empty

	ranch    *ranch.Ranch
	drawn    ranch.Drawn
	server   *s3test.Server
	linecamp program

	checked int  // what was held against what was drawn and broken
	differs bool // something was not as it should be
	harm    harm
}

func (s *story) close() {
	if s.server != nil {
		s.server.Close()
	}
}

func (s *story) run(ctx context.Context, odd bool) error {
	steps := []func(context.Context) error{s.draw, s.setup, s.tally, s.mirror, s.verifySound, s.break_, s.verifyBroken, s.mend, s.restore, s.verifyAgain}
	if odd {
		steps = append(steps, s.oddThings)
	}
	for _, step := range append(steps, s.status) {
		if err := step(ctx); err != nil {
			return err
		}
	}
	s.end()
	if s.differs {
		return errDiffers
	}
	return nil
}

// say tells one thing that happened between the commands.
func (s *story) say(format string, a ...any) { fmt.Fprintf(s.out, format+"\n", a...) }

// screen runs a command and shows it, and below it at most so many lines of what
// it printed.
func (s *story) screen(ctx context.Context, most int, args ...string) error {
	typed := make([]string, len(args))
	for i, a := range args {
		typed[i] = s.shown(a)
	}
	s.say("\n$ linecamp %s", strings.Join(typed, " "))
	out, err := s.linecamp.run(ctx, args...)
	lines := strings.Split(strings.TrimRight(out, "\n"), "\n")
	if more := len(lines) - most; err == nil && more > 1 {
		lines = append(lines[:most], fmt.Sprintf("[%d more lines]", more))
	}
	for _, l := range lines {
		s.say("%s", l)
	}
	return err
}

// shown is a word as a person would type it, with the folder of this run as $DIR.
func (s *story) shown(word string) string {
	before, after, ok := strings.Cut(word, string(s.at))
	if !ok {
		return quoted(word)
	}
	return before + "$DIR" + quoted(after)
}

// expect holds something against what was drawn and broken. Where it is not as it
// should be, that is told, the run goes on, and ends with status 1.
func (s *story) expect(ok bool, format string, a ...any) {
	s.checked++
	if !ok {
		s.differs = true
		s.say("NOT SO: "+format, a...)
	}
}

func (s *story) draw(ctx context.Context) error {
	s.ranch = ranch.New(seed, s.began)
	var err error
	if s.drawn, err = s.ranch.Draw(ctx, s.at.ranch()); err != nil {
		return err
	}
	first, last := s.ranch.Visits[0].Year, s.ranch.Visits[len(s.ranch.Visits)-1].Year
	s.say("%s, %s, is invented: %d sites on the short-grass plains, %d to %d,", ranch.Name, ranch.County, len(s.ranch.Sites), first, last)
	s.say("%d pictures and %d notes. Look at the pictures: %s", s.drawn.Photos, s.drawn.Notes, s.at.ranch())
	s.say("DIR=%s", quoted(string(s.at)))
	return nil
}

// The copies' names in the config.
const (
	driveName  = "shelf-drive"
	bucketName = "bucket"
)

func (s *story) setup(ctx context.Context) error {
	var err error
	if s.linecamp, err = built(ctx, s.named, string(s.at)); err != nil {
		return err
	}
	if s.server, err = s3test.StartFake(s.at.bucket()); err != nil {
		return fmt.Errorf("starting an S3 service inside this program: %w", err)
	}
	bucket, err := s.server.Bucket(ctx, "monitoring")
	if err != nil {
		return err
	}
	for _, dir := range []string{s.at.drive(), s.at.configs()} {
		if err := os.MkdirAll(dir, 0o777); err != nil {
			return err
		}
	}
	keys := fmt.Sprintf("access = %q\nsecret = %q\n", s.server.Access, s.server.Secret)
	if err := os.WriteFile(s.at.keys(), []byte(keys), 0o600); err != nil {
		return err
	}
	s.linecamp.env = append(s.linecamp.env, "LINECAMP_CONFIG="+s.at.config())
	return s.screen(ctx, 2, "setup", "--yes", "--archive", archiveName, "--folder", s.at.ranch(), "--state", s.at.state(), "--drive", driveName+"="+s.at.drive(),
		"--s3", bucketName+"="+bucket+"/"+archiveName, "--region", s.server.Region, "--credentials", s.at.keys())
}

func (s *story) tally(ctx context.Context) error {
	if err := s.screen(ctx, 4, "tally"); err != nil {
		return err
	}
	r, err := s.linecamp.ask(ctx, "tally")
	if err != nil {
		return err
	}
	visits := 0
	for _, site := range r.Sites {
		visits += len(site.Visits)
	}
	s.expect(r.Files == s.all() && r.Bytes == s.drawn.Bytes, "every drawn file is counted; %d of %d are.", r.Files, s.all())
	s.expect(visits == len(s.ranch.Visits) && len(r.Sites) == len(s.ranch.Sites), "every visit is counted; %d of %d are.", visits, len(s.ranch.Visits))
	s.expect(len(r.Waiting) == 0, "nothing waits; these do: %v", r.Waiting)
	return nil
}

// all is how many files were drawn.
func (s *story) all() int { return s.drawn.Photos + s.drawn.Notes }

func (s *story) mirror(ctx context.Context) error {
	if err := s.screen(ctx, 4, "mirror"); err != nil {
		return err
	}
	return s.nothingToSend(ctx)
}

// nothingToSend: once more, and each copy has everything already.
func (s *story) nothingToSend(ctx context.Context) error {
	r, err := s.linecamp.ask(ctx, "mirror")
	if err != nil {
		return err
	}
	s.expect(r.Made == 0 && len(r.Copies) == 2, "another mirror finds nothing new; it made %d versions.", r.Made)
	for _, c := range r.Copies {
		s.expect(c.State == "current" && c.Files == 0 && c.Error == "", "%s has everything already; it is %s and was sent %d files: %s", c.Copy, c.State, c.Files, c.Error)
	}
	return nil
}

func (s *story) status(ctx context.Context) error { return s.screen(ctx, 7, "status") }

func (s *story) end() {
	s.say("")
	if !s.differs {
		s.say("%d things were checked against what was drawn and broken. All are as they should be.", s.checked)
	}
	s.say("It took %s. Everything is left in %s,", seconds(time.Since(s.began)), s.at)
	s.say("the pictures in %s.", filepath.Join(s.at.ranch(), "North Flat"))
	s.say("The S3 service stops with this program. To have it back, and to play on:")
	s.say("    go run ./cmd/ranchdemo -serve -dir %s", quoted(string(s.at)))
	s.say("\n%s", strings.ReplaceAll(words.FieldCaution, ". ", ".\n"))
}

// quoted makes a word safe to paste into a shell.
func quoted(s string) string {
	if !strings.ContainsFunc(s, func(r rune) bool {
		return !strings.ContainsRune("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_./:=,+@%", r)
	}) {
		return s
	}
	return "'" + strings.ReplaceAll(s, "'", `'\''`) + "'"
}

func seconds(d time.Duration) string {
	if d < time.Second {
		return fmt.Sprintf("%d ms", max(d.Milliseconds(), 1))
	}
	return fmt.Sprintf("%.1f s", d.Seconds())
}
