package facts

import (
	"io"
	"strings"
	"unicode"
	"unicode/utf16"
	"unicode/utf8"
)

// Topics are what field notes tell of, one bit each. The ledger remembers the bits, so
// they keep their values. That a note is silent on some is never a fault.
type Topics uint8

// The topics.
const (
	OnPlace Topics = 1 << iota
	OnWeather
	OnGrazing
	OnWeeds
	OnWildlife
	OnFire
)

// topics are grouped by what a reader asks. The groups are our own choice, and what
// notes should tell of is common practice, no source. So are the words: whole ones, in
// small letters. A word that as often means something else is left out: "bull" is a
// thistle, "head" is what grass does, and "ash" a tree.
var topics = []struct {
	topic       Topics
	name, words string
}{
	// What the land gave.
	{OnWeeds, "weeds", `weed weeds weedy cheatgrass medusahead ventenata thistle thistles knapweed halogeton spurge whitetop toadflax
		henbane houndstongue kochia bindweed invasive invasives noxious`},
	// What the animals did.
	{OnWildlife, "wildlife", `wildlife deer elk antelope pronghorn moose bear bears coyote coyotes fox rabbit rabbits jackrabbit jackrabbits
		hare grouse quail chukar hawk hawks eagle eagles owl owls raven ravens bird birds lark larks meadowlark badger
		badgers gopher gophers squirrel squirrels lizard lizards snake snakes rattlesnake rattlesnakes toad toads frog frogs
		burrow burrows`},
	// What the people did: where they put the herd, and where they stood.
	{OnGrazing, "grazing", `graze grazed grazes grazing ungrazed overgrazed cattle cow cows calf calves steer steers heifer heifers pair pairs
		sheep ewes lambs goats horses livestock stocked stocking stubble aum aums utilization utilisation rested rotation
		herd turnout pats browse browsed browsing`},
	{OnPlace, "place", `place location site stake post pasture allotment county bearing azimuth gps latitude longitude utm elevation
		landmark paces north south east west northeast northwest southeast southwest ridge draw creek slope aspect`},
	// What the weather did, and fire.
	{OnWeather, "weather", `weather rain rains rained rainy rainfall snow snowed snowy wind winds windy breeze cloud clouds cloudy overcast
		sunny clear hot cold cool warm dry wet drought storm storms stormy thunder lightning temperature frost hail
		precipitation precip humid moisture muddy`},
	{OnFire, "fire", `fire fires wildfire wildfires burn burned burnt burning smoke smoky charred`},
}

// TopicNames are all topics in words, in the order of their groups.
var TopicNames = (^Topics(0)).Names()

// Names are the topics in words, in the order of their groups.
func (t Topics) Names() (names []string) {
	for _, x := range topics {
		if t&x.topic != 0 {
			names = append(names, x.name)
		}
	}
	return names
}

var topicOf = func() map[string]Topics {
	of := map[string]Topics{}
	for _, x := range topics {
		for _, w := range strings.Fields(x.words) {
			of[w] |= x.topic
		}
	}
	return of
}()

// isText are the extensions of notes that are plain text. What other notes
// say, a PDF or a scan, is not read.
var isText = map[string]bool{"txt": true, "md": true, "csv": true}

// longestNote is how much of a note is read for its topics.
const longestNote = 256 << 10

// topicsOf finds the topics a text tells of, and whether nothing is written in it:
// no sign but spaces, controls and the byte-order mark. Texts are UTF-8, UTF-16 with a byte-order mark, or the one-byte
// encoding of older office programs, whose letters are those of Latin-1.
func topicsOf(r io.Reader) (found Topics, blank bool) {
	b, err := io.ReadAll(io.LimitReader(r, longestNote))
	if err != nil {
		return 0, false
	}
	blank = true
	word := make([]rune, 0, 16)
	for _, c := range append(plainText(b), ' ') {
		blank = blank && (unicode.IsSpace(c) || unicode.IsControl(c) || c == '\ufeff')
		if unicode.IsLetter(c) {
			word = append(word, unicode.ToLower(c))
			continue
		}
		found |= topicOf[string(word)]
		word = word[:0]
	}
	return found, blank
}

func plainText(b []byte) []rune {
	switch {
	case len(b) >= 2 && b[0] == 0xff && b[1] == 0xfe:
		return wide(b[2:], 0, 1)
	case len(b) >= 2 && b[0] == 0xfe && b[1] == 0xff:
		return wide(b[2:], 1, 0)
	case utf8.Valid(b):
		return []rune(string(b))
	}
	out := make([]rune, len(b))
	for i, c := range b {
		out[i] = rune(c)
	}
	return out
}

// wide decodes UTF-16 whose low byte stands at low and high byte at high.
func wide(b []byte, low, high int) []rune {
	units := make([]uint16, len(b)/2)
	for i := range units {
		units[i] = uint16(b[2*i+low]) | uint16(b[2*i+high])<<8
	}
	return utf16.Decode(units)
}
