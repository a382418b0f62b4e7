package config

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strings"
)

// Load reads a config file, or every *.toml file of a folder, in the order of
// their names. Each file at fault gives one *Error and no archive; the others
// are returned all the same. Nothing at path is an *Error that is
// fs.ErrNotExist.
func Load(path string) ([]Archive, []error) {
	files, err := configFiles(path)
	if err != nil {
		return nil, []error{err}
	}
	var read []loaded
	var faults []error
	for _, f := range files {
		a, err := readFile(f)
		if err != nil {
			faults = append(faults, err)
			continue
		}
		read = append(read, a)
	}
	archives, clashes := apart(read)
	return archives, append(faults, clashes...)
}

func configFiles(path string) ([]string, error) {
	path, err := filepath.Abs(path)
	if err != nil {
		return nil, unreadable(path, err)
	}
	info, err := os.Stat(path)
	if err != nil {
		return nil, unreadable(path, err)
	}
	if !info.IsDir() {
		return []string{path}, nil
	}
	entries, err := os.ReadDir(path)
	if err != nil {
		return nil, unreadable(path, err)
	}
	var files []string
	for _, e := range entries {
		file := filepath.Join(path, e.Name())
		if isConfig(e.Name()) && !isMachines(file) {
			files = append(files, file)
		}
	}
	if len(files) == 0 {
		return nil, &Error{File: path, Err: fs.ErrNotExist, Problems: []Problem{{Text: "this folder holds no settings (*.toml)" + begin}}}
	}
	return files, nil
}

// MachineFile is the file beside those of the archives that is about the whole machine.
const MachineFile = "linecamp.toml"

// isMachines reports whether a file is about the machine, and not about an archive whose
// settings are called as the program is.
func isMachines(file string) bool {
	if filepath.Base(file) != MachineFile {
		return false
	}
	b, err := os.ReadFile(file)
	return err == nil && !IsArchive(b)
}

// IsArchive reports whether a settings file is that of an archive: it names an archive, a
// folder or a copy, even where a slip makes it no TOML. Its mistakes are told then.
func IsArchive(b []byte) bool {
	if _, top, err := Decode("", b); err == nil {
		return top.Left["archive"] != nil || top.Left["folder"] != nil || top.Left["copy"] != nil
	}
	return archiveLine.Match(b)
}

var archiveLine = regexp.MustCompile(`(?m)^(?:\x{FEFF}|\s)*(?:archive\b|folder\b|\[\[\s*copy\b)`)

// isConfig leaves out hidden files, which editors put beside the one they have
// open.
func isConfig(name string) bool {
	return !strings.HasPrefix(name, ".") && strings.EqualFold(filepath.Ext(name), ".toml")
}

func readFile(path string) (loaded, error) {
	f, err := os.Open(path)
	if err != nil {
		return loaded{}, unreadable(path, err)
	}
	defer f.Close()
	b, err := io.ReadAll(io.LimitReader(f, mostBytes+1))
	if err != nil {
		return loaded{}, unreadable(path, err)
	}
	return parse(path, b)
}

// begin is what to do where there are no settings: the archive is new, or its computer was lost.
const begin = "; if a drive or a bucket already has the archive, run `linecamp new-machine`, else run `linecamp setup`; or name other settings with --config"

// unreadable says in a sentence why nothing could be read at path.
func unreadable(path string, err error) error {
	text := "these settings cannot be read"
	var why *fs.PathError
	if errors.As(err, &why) {
		text += " (" + why.Err.Error() + ")"
	}
	switch {
	case errors.Is(err, fs.ErrNotExist):
		text = "there are no settings here" + begin
	case errors.Is(err, fs.ErrPermission):
		text += "; ask its owner for the right to read them, or name others with --config"
	default:
		text += "; see whether it is a file of yours, or name others with --config"
	}
	return &Error{File: path, Problems: []Problem{{Text: text}}, Err: err}
}

// system is the folder for the configs of a machine, rather than of a user.
var system = "/etc/linecamp"

// Find returns where the config is: flag if it is set, $LINECAMP_CONFIG if that
// is set, the user's config folder if it holds a config, /etc/linecamp if that
// does. Where no config is anywhere yet, it is New.
func Find(flag string) string {
	for _, dir := range Places(flag) {
		if holdsConfig(dir) {
			return dir
		}
	}
	return New(flag)
}

// New returns where a new config is written to: the place that flag or
// $LINECAMP_CONFIG names, else the user's config folder. Root's is /etc/linecamp,
// unless $XDG_CONFIG_HOME names one or root's own holds a config already.
func New(flag string) string {
	places := Places(flag)
	if len(places) > 1 && os.Geteuid() == 0 && os.Getenv("XDG_CONFIG_HOME") == "" && !holdsConfig(places[0]) {
		return system
	}
	return places[0]
}

func holdsConfig(dir string) bool {
	entries, err := os.ReadDir(dir)
	return err == nil && slices.ContainsFunc(entries, func(e os.DirEntry) bool { return isConfig(e.Name()) })
}

// Places are where a config is looked for, in this order: one place where flag
// or $LINECAMP_CONFIG names it.
func Places(flag string) []string {
	if flag != "" {
		return []string{flag}
	}
	if env := os.Getenv("LINECAMP_CONFIG"); env != "" {
		return []string{env}
	}
	base, err := os.UserConfigDir()
	if err != nil {
		return []string{system}
	}
	return []string{filepath.Join(base, "linecamp"), system}
}

// LoadFrom is Load of the place that Find finds. Where there is no config
// anywhere, the error names every place that was looked at.
func LoadFrom(flag string) ([]Archive, []error) {
	archives, faults := Load(Find(flag))
	places := Places(flag)
	if len(archives) > 0 || len(faults) != 1 || len(places) == 1 || !errors.Is(faults[0], fs.ErrNotExist) {
		return archives, faults
	}
	return nil, []error{&Error{File: strings.Join(places, " and "), Err: fs.ErrNotExist, Problems: []Problem{{
		Text: "there are no settings in either place" + begin}}}}
}

// StateDir returns the folder for what linecamp remembers of this archive. It
// is not made here.
func (a Archive) StateDir() (string, error) {
	if a.State != "" {
		return a.State, nil
	}
	base, err := StateBase()
	if err != nil {
		return "", err
	}
	return filepath.Join(base, a.Name), nil
}

// MachineDir returns the folder where earlier programs kept the author id of the
// archive's state folder: one for all archives, but for those whose config names
// a state folder of their own.
func (a Archive) MachineDir() (string, error) {
	if a.State != "" {
		return a.State, nil
	}
	return StateBase()
}

// StateBase returns the folder that holds the state folders of archives whose
// config names none: the one systemd gives the
// service ($STATE_DIRECTORY), else linecamp in $XDG_STATE_HOME, else
// /var/lib/linecamp for root, else .local/state/linecamp in the home folder (on
// Windows, the local application data).
func StateBase() (string, error) {
	if dirs := os.Getenv("STATE_DIRECTORY"); dirs != "" {
		first, _, _ := strings.Cut(dirs, string(os.PathListSeparator))
		return first, nil
	}
	if base := os.Getenv("XDG_STATE_HOME"); filepath.IsAbs(base) {
		return filepath.Join(base, "linecamp"), nil
	}
	if os.Geteuid() == 0 {
		return "/var/lib/linecamp", nil
	}
	local, err := os.UserHomeDir()
	if err == nil {
		local = filepath.Join(local, ".local", "state")
	}
	if runtime.GOOS == "windows" {
		local, err = os.UserCacheDir()
	}
	if err != nil {
		return "", errors.New("there is no home folder to keep linecamp's state in; set state = \"…\" in the settings, or XDG_STATE_HOME")
	}
	return filepath.Join(local, "linecamp"), nil
}
