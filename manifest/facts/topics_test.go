package facts

import (
	"bytes"
	"slices"
	"testing"
	"unicode/utf16"
)

// Which topics notes are to tell of is common practice; the words are our own
// choice.
func TestTopics(t *testing.T) {
	for _, c := range []struct {
		text  string
		want  []string
		blank bool
	}{
		{text: "", blank: true},
		{text: " \r\n\t\n", blank: true},
		{text: "\ufeff\n", blank: true},
		{text: "\u00a0\x00\f", blank: true},
		{text: "✓✓\n"},
		{text: "?"},
		{text: "ok"},
		{text: "7"},
		{text: "Windy, some rain last night.", want: []string{"weather"}},
		{text: "no weeds seen", want: []string{"weeds"}},
		{text: "Not grazed yet. 140 pair to come in.", want: []string{"grazing"}},
		{text: "burned in August, smoke all day", want: []string{"fire"}},
		{text: "N side of the ridge, 40 paces from the stake", want: []string{"place"}},
		{text: "two pronghorn and a badger", want: []string{"wildlife"}},
		{text: "squirreltail headed out, fireweed in flower, ash tree"}, // a grass, a flower and a tree
		{text: "dug a few bull thistles", want: []string{"weeds"}},
		{text: "fired up the truck; the bull elk", want: []string{"wildlife"}},
		{text: "CHEATGRASS/RAIN", want: []string{"weeds", "weather"}},
	} {
		found, blank := topicsOf(bytes.NewReader([]byte(c.text)))
		if got := found.Names(); !slices.Equal(got, c.want) || blank != c.blank {
			t.Errorf("%q: %v, blank %v; want %v, %v", c.text, got, blank, c.want, c.blank)
		}
	}
}

// Every topic has a place in the order in which they are shown. The ledger remembers
// their bits.
func TestTopicsInOrder(t *testing.T) {
	if want := []string{"weeds", "wildlife", "grazing", "place", "weather", "fire"}; !slices.Equal(TopicNames, want) {
		t.Errorf("%v, want %v", TopicNames, want)
	}
	for i, name := range []string{"place", "weather", "grazing", "weeds", "wildlife", "fire"} {
		if got := Topics(1 << i).Names(); !slices.Equal(got, []string{name}) {
			t.Errorf("bit %d is remembered as %v, want %s", i, got, name)
		}
	}
}

// Notes come from all ages of office programs.
func TestTopicsInAnyEncoding(t *testing.T) {
	text := "señal: lluvia; rain and deer"
	little, big, latin := []byte{0xff, 0xfe}, []byte{0xfe, 0xff}, []byte{}
	for _, u := range utf16.Encode([]rune(text)) {
		little = append(little, byte(u), byte(u>>8))
		big = append(big, byte(u>>8), byte(u))
	}
	for _, r := range text {
		latin = append(latin, byte(r))
	}
	for name, b := range map[string][]byte{"UTF-8": []byte(text), "UTF-16, little-endian": little, "UTF-16, big-endian": big, "Latin-1": latin} {
		if found, blank := topicsOf(bytes.NewReader(b)); found != OnWeather|OnWildlife || blank {
			t.Errorf("%s: %v, blank %v", name, found.Names(), blank)
		}
	}
}

func FuzzTopics(f *testing.F) {
	f.Add([]byte("rain, no weeds"))
	f.Add([]byte{0xff, 0xfe, 'r', 0, 'a'})
	f.Fuzz(func(t *testing.T, b []byte) {
		found, blank := topicsOf(bytes.NewReader(b))
		if blank && found != 0 {
			t.Errorf("blank, and tells of %v", found.Names())
		}
	})
}
