package main

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"os"
	"strings"
	"time"

	"linecamp/cmd/ranchdemo/ranch"
	"linecamp/daemon"
	"linecamp/daemon/config"
	"linecamp/daemon/mirror"
	"linecamp/daemon/setup"
	"linecamp/manifest/store/s3test"
)

// seed fixes the drawing: everybody's practice ranch is the same.
const seed = 2009

// story is one run through the whole job.
type story struct {
	at    place
	out   io.Writer
	began time.Time

	ranch   *ranch.Ranch
	drawn   ranch.Drawn
	server  *s3test.Server
	archive *daemon.Archive
	log     *os.File

	step    int
	differs bool // something was not as it should be
	harm    harm
}

func (s *story) close() {
	if s.archive != nil {
		s.archive.Close()
	}
	if s.server != nil {
		s.server.Close()
	}
	if s.log != nil {
		s.log.Close()
	}
}

func (s *story) run(ctx context.Context) error {
	for _, step := range []struct {
		title string
		do    func(context.Context) error
	}{
		{"The ranch", s.draw},
		{"Setting up", s.setup},
		{"What linecamp understands", s.tally},
		{"Two more copies", s.mirror},
		{"Are the copies sound, and the years all there?", s.verifySound},
		{"Something goes wrong", s.break_},
		{"Verify finds it", s.verifyBroken},
		{"Mending", s.mend},
		{"A site's full history, brought back", s.restore},
		{"Whole again", s.verifyAgain},
		{"Odd things, as real folders have them", s.oddThings},
	} {
		s.step++
		fmt.Fprintf(s.out, "%d. %s\n", s.step, step.title)
		if err := step.do(ctx); err != nil {
			return fmt.Errorf("step %d, %s: %w", s.step, strings.ToLower(step.title), err)
		}
		fmt.Fprintln(s.out)
	}
	s.end()
	if s.differs {
		return errDiffers
	}
	return nil
}

// say tells one thing that happened.
func (s *story) say(format string, a ...any) {
	fmt.Fprintf(s.out, "   "+format+"\n", a...)
}

// command names the linecamp command that does what was just told.
func (s *story) command(words ...string) {
	for i, w := range words {
		words[i] = quoted(w)
	}
	fmt.Fprintf(s.out, "   $ linecamp %s\n", strings.Join(words, " "))
}

// expect tells whether something is as it should be; if it is not, the run goes
// on and ends with status 1.
func (s *story) expect(ok bool, format string, a ...any) {
	if ok {
		s.say("Checked: "+format, a...)
		return
	}
	s.differs = true
	s.say("NOT SO: "+format, a...)
}

func (s *story) draw(ctx context.Context) error {
	s.ranch = ranch.New(seed, s.began)
	t := time.Now()
	var err error
	if s.drawn, err = s.ranch.Draw(ctx, s.at.ranch()); err != nil {
		return err
	}
	first, last := s.ranch.Visits[0].Year, s.ranch.Visits[len(s.ranch.Visits)-1].Year
	s.say("%s, %s, is invented. Drawn: %d sites in %d pastures,", ranch.Name, ranch.County, len(s.ranch.Sites), s.pastures())
	s.say("%d to %d, %d pictures and %d notes, %s, in %s.", first, last, s.drawn.Photos, s.drawn.Notes, megabytes(s.drawn.Bytes), seconds(time.Since(t)))
	s.say("Like any real record it lacks a few things:")
	for _, f := range flawsOf(s.ranch.Flaws) {
		s.say("  %s", f)
	}
	s.say("Look at it: %s", s.at.ranch())
	return nil
}

func (s *story) pastures() int {
	names := map[string]bool{}
	for _, site := range s.ranch.Sites {
		names[site.Pasture] = true
	}
	return len(names)
}

func (s *story) setup(ctx context.Context) error {
	var err error
	if s.log, err = os.Create(s.at.log()); err != nil {
		return err
	}
	if s.server, err = s3test.StartFake(s.at.bucket()); err != nil {
		return fmt.Errorf("starting an S3 service inside this program: %w", err)
	}
	bucket, err := s.server.Bucket(ctx, "monitoring")
	if err != nil {
		return err
	}
	if err := os.MkdirAll(s.at.drive(), 0o777); err != nil {
		return err
	}
	log := slog.New(slog.NewTextHandler(s.log, nil))
	_, err = setup.Run(ctx, setup.Options{
		Archive: archiveName, Folder: s.at.ranch(),
		Drives: []setup.NamedDir{{Name: driveName, Dir: s.at.drive()}},
		S3s:    []setup.NamedURL{{Name: bucketName, URL: bucket + "/" + archiveName}},
		Access: s.server.Access, Secret: s.server.Secret, Region: s.server.Region,
		Config: s.at.config(), State: s.at.state(), Log: log,
	})
	if err != nil {
		return err
	}
	archives, faults := config.Load(s.at.config())
	if len(faults) > 0 {
		return faults[0]
	}
	if s.archive, err = daemon.Open(archives[0], daemon.Options{Log: log}); err != nil {
		return err
	}
	s.say("A folder stands in for a drive on the shelf, and an S3 service inside this")
	s.say("program for a bucket far away. Both were tried, and the settings written.")
	s.command("setup", "--archive", archiveName, "--folder", s.at.ranch(), "--drive", driveName+"="+s.at.drive(), "--s3", bucketName+"="+bucket+"/"+archiveName)
	return nil
}

// The copies' names in the config.
const (
	driveName  = "shelf-drive"
	bucketName = "bucket"
)

func (s *story) tally(ctx context.Context) error {
	t := time.Now()
	r, err := s.archive.Tally(ctx, nil)
	if err != nil {
		return err
	}
	visits := 0
	for _, site := range r.Sites {
		visits += len(site.Visits)
	}
	s.say("%d files, %s, read and understood in %s: %d visits to %d sites.", r.Files, megabytes(r.Bytes), seconds(time.Since(t)), visits, len(r.Sites))
	s.expect(r.Files == s.drawn.Photos+s.drawn.Notes && r.Bytes == s.drawn.Bytes, "every drawn file is counted, %d of %d.", r.Files, s.drawn.Photos+s.drawn.Notes)
	s.expect(visits == len(s.ranch.Visits) && len(r.Sites) == len(s.ranch.Sites), "so is every visit, %d of %d.", visits, len(s.ranch.Visits))
	if len(r.Waiting) > 0 {
		s.expect(false, "nothing waits; %s: %s", r.Waiting[0].Path, r.Waiting[0].Reason)
	}
	s.command("tally")
	return nil
}

func (s *story) mirror(ctx context.Context) error {
	t := time.Now()
	r, err := s.archive.Mirror(ctx, daemon.MirrorOptions{}, nil)
	if err != nil {
		return err
	}
	for _, c := range r.Copies {
		s.say("%s received %d files, %s: %s.", c.Copy, c.Files, megabytes(c.Bytes), c.State)
		if c.Error != "" {
			s.expect(false, "%s is brought up to date: %s", c.Copy, c.Error)
		}
		s.expect(c.State == mirror.Current && c.Files == s.drawn.Photos+s.drawn.Notes, "%s has all %d files.", c.Copy, s.drawn.Photos+s.drawn.Notes)
	}
	s.say("It took %s. With the working folder there are three of everything now.", seconds(time.Since(t)))
	if r, err = s.archive.Mirror(ctx, daemon.MirrorOptions{}, nil); err != nil {
		return err
	}
	sent := 0
	for _, c := range r.Copies {
		sent += c.Files
	}
	s.expect(sent == 0 && r.Made == 0, "a second mirror has nothing to send; it sent %d files.", sent)
	s.command("mirror")
	return nil
}

func (s *story) end() {
	s.say("The whole job took %s. Everything is left in", seconds(time.Since(s.began)))
	s.say("    %s", s.at)
	s.say("with the config in %s.", s.at.config())
	s.say("The S3 service stops with this program. To have it back:")
	s.say("    go run ./cmd/ranchdemo -serve -dir %s", quoted(string(s.at)))
	fmt.Fprintln(s.out)
	playOn(s.out, s.at)
	fmt.Fprintln(s.out, `A word before you go out to real stakes: keep every stake capped, for bare steel
in tall grass ruins tires and lames horses. Carry water, keep off the ridges when
there is thunder, look before you kneel at a plot, leave gates as you found them,
and tell someone where you are going.`)
}

// quoted makes a word safe to paste into a shell.
func quoted(s string) string {
	if s != "" && !strings.ContainsFunc(s, func(r rune) bool {
		return !strings.ContainsRune("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_./:=,+@%", r)
	}) {
		return s
	}
	return "'" + strings.ReplaceAll(s, "'", `'\''`) + "'"
}

func megabytes(n int64) string { return fmt.Sprintf("%.1f MB", float64(n)/1e6) }

func seconds(d time.Duration) string {
	if d < time.Second {
		return fmt.Sprintf("%d ms", max(d.Milliseconds(), 1))
	}
	return fmt.Sprintf("%.1f s", d.Seconds())
}
