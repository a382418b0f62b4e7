package store

import (
	"bytes"
	"context"
	"errors"
	"io/fs"
	"strconv"
	"strings"

	"linecamp/manifest/seal"
)

// ReplaceSeal makes the seal of a root y, whatever history it tells now. Nothing of
// what is there is lost: first its lines are kept in LateFolder. It works on the files
// as they are, so that it goes on where a crash broke it off; it is called again until
// it succeeds. On a drive, hold Lock; in a bucket, be named in author.json.
//
// A log that goes on from y is ErrConflict, and so is a file that another machine
// changed meanwhile: then what it added is kept by the next call.
//
//	step                                           a reader sees then
//	the lines there are kept                       the old log
//	a further empty file, in a bucket, where the   the old log
//	last one takes no more lines
//	files above the fork emptied, last first       a beginning of the old log
//	the rest of y but for its last line, from      a beginning of y
//	the file with the fork on
//	the last line, into the last file              y
//
// Each step is synced before the next begins; a log of one file is replaced in one.
// The machine that recorded there may have a line on its way, to the last file or to
// the one behind it. What is written last changes that file, so either that line is
// there before, and the last step is a conflict, or it finds another file than it
// expects: it never comes to stand behind y.
func ReplaceSeal(ctx context.Context, r Root, y *seal.Seal) error {
	files, err := rawSeal(ctx, r)
	if err != nil {
		return err
	}
	text := y.Text(0, y.Len())
	fork, same := 0, 0 // the first file that is not as in y, and the bytes before it
	for fork < len(files) && isNext(text[same:], files[fork].bytes) {
		same += len(files[fork].bytes)
		fork++
	}
	if err := keepSeal(ctx, r, y, files, fork); err != nil {
		return err
	}
	rest := text[same:]
	last := fork // of the files that are not emptied
	if len(rest) == 0 {
		last-- // what is there is no line
	}
	write := func(i int, b []byte) error {
		if i == len(files) {
			files = append(files, sealFile{key: seal.File(i)})
		}
		f := &files[i]
		if f.was != nil && bytes.Equal(f.bytes, b) {
			return nil
		}
		now, err := r.Replace(ctx, f.key, Bytes(b), f.was)
		f.bytes, f.was = b, &now
		return err
	}
	if n := len(files); r.Can().Shared && fork < n && bytes.Count(files[n-1].bytes, lineEnd) >= enough {
		if err := write(n, nil); err != nil {
			return err
		}
	}
	for i := len(files) - 1; i > last; i-- {
		if err := write(i, nil); err != nil {
			return err
		}
	}
	if len(rest) == 0 {
		return nil
	}
	from, most := y.Len()-bytes.Count(rest, lineEnd), y.Len()-1 // lines that stand; the last line waits
	if fork >= len(files)-1 && y.Len()-from <= seal.MostLines {
		most = from
	}
	for ; from < most || fork < len(files)-1; fork++ {
		to := min(from+seal.MostLines, most)
		if err := write(fork, y.Text(from, to)); err != nil {
			return err
		}
		from = to
	}
	return write(fork, y.Text(from, y.Len()))
}

// KeepSeal keeps in LateFolder what the files of a root's seal tell and y does not,
// before one of them is replaced; also where they do not read.
func KeepSeal(ctx context.Context, r Root, y *seal.Seal) error {
	files, err := rawSeal(ctx, r)
	if err != nil {
		return err
	}
	return keepSeal(ctx, r, y, files, 0)
}

// SealText is what the files of a root's seal have, also where they do not read.
func SealText(ctx context.Context, r Root) ([]byte, error) {
	files, err := rawSeal(ctx, r)
	var text []byte
	for _, f := range files {
		text = append(text, f.bytes...)
	}
	return text, err
}

// sealFile is a file of a root's seal as it is, whether or not it reads as one.
type sealFile struct {
	key   string
	bytes []byte
	was   *Info // nil where there is none
}

// rawSeal reads the files of a root's seal. One that is absent below another, as a
// power cut may leave it, is empty.
func rawSeal(ctx context.Context, r Root) ([]sealFile, error) {
	var files []sealFile
	size := 0
	for info, err := range r.List(ctx, SealFolder) {
		if err != nil {
			return nil, err
		}
		n := sealNumber(info.Key)
		if n < 0 {
			continue
		}
		b, was, err := ReadSmall(ctx, r, info.Key, maxSealFile)
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return nil, err
		}
		if size += len(b); size > maxSeal {
			return nil, tooLong(r)
		}
		for len(files) < n {
			files = append(files, sealFile{key: seal.File(len(files))})
		}
		files = append(files, sealFile{info.Key, b, &was})
	}
	return files, nil
}

// sealNumber is which file of the seal a key is, -1 for none.
func sealNumber(key string) int {
	name := strings.TrimSuffix(strings.TrimPrefix(key, SealFolder+"/"), ".txt")
	n, err := strconv.Atoi(name)
	if err != nil || n < 0 || seal.File(n) != key {
		return -1
	}
	return n
}

// isNext reports whether text begins with the lines of b, of which there are some.
func isNext(text, b []byte) bool {
	return len(b) > 0 && len(wholeLines(b)) == len(b) && bytes.HasPrefix(text, b)
}

// keepSeal keeps what the files of a root's seal tell and y does not. From fork on
// they are to be replaced; those before are the beginning of y.
func keepSeal(ctx context.Context, r Root, y *seal.Seal, files []sealFile, fork int) error {
	var all, beyond []byte
	for i, f := range files {
		all = append(all, f.bytes...)
		if i >= fork {
			beyond = append(beyond, f.bytes...)
		}
	}
	// A last line without an end was never sealed.
	log, err := seal.Decode([][]byte{wholeLines(all)})
	switch {
	case err == nil && y.Extends(log):
		return nil
	case err == nil && log.Extends(y):
		return sealConflict(r)
	case err != nil:
		if log, err = goesOn(ctx, r, wholeLines(beyond)); err != nil {
			return err
		}
	}
	if log == nil { // it is no log, and no part of one that is known
		return PutLateFile(ctx, r, all)
	}
	for kept, err := range LateLogs(ctx, r) {
		if err == nil && kept.Extends(log) {
			return nil // as a crash in the middle left it
		}
	}
	return PutLate(ctx, r, log)
}

// goesOn is the log that lines are the end of, where one kept in LateFolder begins
// it: the machine that recorded there added lines while its log was being replaced.
// It is nil where none does, or where several could.
func goesOn(ctx context.Context, r Root, lines []byte) (*seal.Seal, error) {
	var found *seal.Seal
	first, err := strconv.Atoi(string(lines[:min(10, len(lines))]))
	if err != nil || first < 1 {
		return nil, nil
	}
	for kept, err := range LateLogs(ctx, r) {
		if err != nil {
			return nil, err
		}
		log, err := seal.Decode([][]byte{kept.Text(0, first-1), lines})
		switch {
		case err != nil:
		case found == nil || log.Extends(found):
			found = log
		case !found.Extends(log):
			return nil, nil
		}
	}
	return found, nil
}
