package words

import (
	"regexp"
	"slices"
	"strings"
)

// tails are the texts of errors that callers decide on. Behind a sentence that
// says the same in full they tell a person nothing, and are left out; where
// nothing but a name stands before one, the sentence here takes its place.
var tails = []struct{ text, sentence string }{
	{"no linecamp copy here", "there is no linecamp copy there"},
	{"another copy", "another copy is in its place, and nothing is written to it"},
	{"not here", "it is not there; plug it in"},
	{"not empty", "the place is not empty; a copy needs one of its own"},
	{"not a folder", "a file is there; a copy needs a folder"},
	{"read-only", "it can only be read, not written to"},
	{"no space left", "there is no space left on it"},
	{"too large for this file system", "its file system cannot hold a file this large"},
	{"in use", "another linecamp is working there; try again when it has finished"},
	{"something else is there", "something else is there; it was left as it is"},
	{"bytes do not match their digest", "its bytes are not what the manifest says"},
	{"damaged", "its manifest is damaged; run `linecamp verify`, then `linecamp mend`"},
	{"no such object", "it holds nothing of this site"},
	{"not an S3 service", "what answers there is not an S3 service; check the address"},
	{"no such bucket", "there is no such bucket; make it first, or correct the address"},
	{"access denied", "access was denied; check the keys"},
	{"clocks differ", "this machine's clock differs from the service's; set the clock"},
	{"out of reach", "it is out of reach now"},
	{"certificate not trusted", "the certificate of the service is not trusted"},
	{"conditional writes are not obeyed", "the service ignores conditional writes"},
	{"not a key", "it cannot be the name of a file in a copy"},
	{"credentials cannot be used", "the keys cannot be used"},
	{"not the address of a bucket", "this is not the address of a bucket"},
	{"could not be read any more", "it could not be read any more"},
	{"no such site", "there is no such site"},
	{"no card to read", "there is no card to read"},
	{"this cannot be done as asked", "this cannot be done as asked"},
	{"no usable track", "there is no usable track in it"},
	{"cannot be used", "this answer cannot be used"},
	{"cannot be asked for", "this cannot be asked for"},
	{"cannot be restored into", "nothing can be restored into it"},
	{"a config is never overwritten", "settings are never overwritten"},
	{"another archive's copy", "it is another archive's copy"},
	{"the service cannot keep two machines apart", "the service cannot keep two machines apart"},
	{"no working folder", "there is no working folder"},
	{"bad layout", "this layout cannot be used"},
	{"not a valid seal", "it is not a valid seal"},
	{"change the settings by hand", "change the settings by hand"},
	{"an archive needs one copy at least", "an archive needs one copy at least"},
	{"no such copy", "there is no such copy"},
	{"it is no longer used", "it is no longer used"},
	{"nothing was changed", "nothing was changed"},
	{"this does not fit on one page", "this does not fit on one page"},
	{"cannot be made a bag", "no bag can be made of it"},
	{"file does not exist", "it is not there"},
	{"file already exists", "it is there already"},
	{"context deadline exceeded", "it did not answer in time"},
}

// tail finds one of them at the end of a sentence, or in a chain of reasons.
var tail = func() *regexp.Regexp {
	var all []string
	for _, t := range tails {
		all = append(all, regexp.QuoteMeta(t.text))
	}
	return regexp.MustCompile(`(:|\?) (` + strings.Join(all, "|") + `)($|[;:.)\n]| \()|( \(cannot be used\))`)
}()

// Plain takes from the text of an error what only programs ask for: "the drive
// is not there. Is it plugged in? not here" loses its last two words.
func Plain(text string) string {
	for {
		m := tail.FindStringSubmatchIndex(text)
		if m == nil {
			return whole(text)
		}
		if m[8] >= 0 {
			text = text[:m[8]] + text[m[9]:]
			continue
		}
		before, tail, after := text[:m[2]], text[m[4]:m[5]], text[m[5]:]
		switch {
		case text[m[2]:m[3]] == "?":
			text = before + "?" + after
		case strings.Contains(lastPart(before), " ") && !versionOf.MatchString(lastPart(before)):
			text = before + after
		default:
			i := slices.IndexFunc(tails, func(t struct{ text, sentence string }) bool { return t.text == tail })
			// The sentence takes the place of what was found, and is not found again.
			return before + ": " + tails[i].sentence + Plain(after)
		}
	}
}

// whole gives a text that is nothing but a tail its sentence.
func whole(text string) string {
	for _, t := range tails {
		if text == t.text {
			return t.sentence
		}
	}
	return text
}

// versionOf is a name of several words.
var versionOf = regexp.MustCompile(`^version \d+ of \S+$`)

// lastPart is what stands behind the last colon or line end.
func lastPart(s string) string {
	if i := strings.LastIndexAny(s, "\n"); i >= 0 {
		s = s[i+1:]
	}
	if i := strings.LastIndex(s, ": "); i >= 0 {
		s = s[i+2:]
	}
	return s
}

// Told is err with its text made plain; errors.Is and errors.As find in it what
// they find in err. Told of nil is nil.
func Told(err error) error {
	if err == nil {
		return nil
	}
	return told{err}
}

type told struct{ error }

func (t told) Error() string { return Plain(t.error.Error()) }
func (t told) Unwrap() error { return t.error }
