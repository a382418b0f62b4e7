package manifest

import (
	"bytes"
	"errors"
	"reflect"
	"strings"
	"testing"
	"time"
)

func fullRecord() *Record {
	at := time.Date(2019, 6, 21, 17, 11, 12, 345_000_000, time.UTC)
	escaped, _ := Logical("2019-06-21/caf\xe9.jpg")
	return &Record{
		Site: "Stake 3", Pasture: "Windmill \"old\"", Base: "Windmill/Stake 3",
		Paths: map[string]Entry{
			"2019-06-21/plot.jpg": {Bytes: 2_345_678, Modified: at, Visit: "2019-06-21", View: "plot", Kind: KindPhoto},
			"2019-06-21/plot.xmp": {Bytes: 99, Modified: at.Add(1), Visit: "2019-06-21", Kind: KindCompanion, With: "2019-06-21/plot.jpg"},
			"2012/notes\nold.txt": {Bytes: 0, Modified: at, Visit: "2012", Kind: KindNote},
			escaped:               {Bytes: 1, Modified: at, Raw: []byte("2019-06-21/caf\xe9.jpg"), Kind: KindPhoto, View: "untold"},
			"site.toml":           {Bytes: 12, Modified: time.Time{}, Kind: KindCard},
		},
		Decisions: []Decision{
			{What: Explained, Who: "office", When: testTime, Why: "road washed out", Years: []string{"2014", "2015"}, Season: "fall", View: "plot"},
			{What: Accepted, When: testTime.Add(time.Hour), Path: "2012/x"},
		},
	}
}

func TestRecordRoundTrip(t *testing.T) {
	for _, r := range []*Record{
		{Paths: map[string]Entry{}},
		fullRecord(),
		{Site: "s\xff", Pasture: "\xe9", Base: "caf\xe9/\xf0", Paths: map[string]Entry{}},
		{Site: "\ufffd", Base: "caf\ufffd", Paths: map[string]Entry{}},
	} {
		b := r.Encode()
		got, err := DecodeRecord(b)
		if err != nil {
			t.Errorf("%v\n%s", err, b)
			continue
		}
		if !reflect.DeepEqual(got, r) {
			t.Errorf("got %+v, want %+v", got, r)
		}
		if again := got.Encode(); !bytes.Equal(again, b) {
			t.Errorf("encoded again:\n%s\nfirst:\n%s", again, b)
		}
	}
}

// A file system's nonsense never stops a file from being kept.
func TestRecordTimes(t *testing.T) {
	for _, c := range []struct {
		at   time.Time
		want string
	}{
		{time.Date(2019, 6, 21, 10, 11, 12, 1, time.FixedZone("", -7*3600)), "2019-06-21T17:11:12.000000001Z"},
		{time.Unix(0, 0), "1970-01-01T00:00:00.000000000Z"},
		{time.Unix(-1, 500), "1969-12-31T23:59:59.000000500Z"},
		{time.Unix(1<<55, 0), "9999-12-31T23:59:59.999999999Z"},
		{time.Date(-5, 1, 1, 0, 0, 0, 0, time.UTC), "0001-01-01T00:00:00.000000000Z"},
	} {
		r := Record{Paths: map[string]Entry{"a": {Modified: c.at, Kind: KindOther}}}
		b := r.Encode()
		if !strings.Contains(string(b), `"modified": "`+c.want+`"`) {
			t.Errorf("%v:\n%s", c.at, b)
		}
		if _, err := DecodeRecord(b); err != nil {
			t.Error(err)
		}
	}
}

func TestDecodeRecordRefuses(t *testing.T) {
	good := string(fullRecord().Encode())
	raw := string((&Record{Base: "caf\xe9", Paths: map[string]Entry{}}).Encode())
	entry := good[strings.Index(good, `    "site.toml"`):strings.Index(good, "\n  },\n")]
	for _, c := range []struct{ why, text, old, new, rule string }{
		{"another format", good, "linecamp record 1", "linecamp record 2", "format"},
		{"no format", good, `"format": "linecamp record 1",`, "", "lacks"},
		{"no site", good, `,` + "\n" + `  "site": "Stake 3"`, "", "lacks"},
		{"no base", good, `"base": "Windmill/Stake 3",`, "", "lacks"},
		{"an unknown key", good, `"format"`, `"more": 1, "format"`, "unknown"},
		{"a key twice", good, `"format"`, `"base": "", "format"`, "twice"},
		{"a base that climbs", good, "Windmill/Stake 3", "../etc", "E052"},
		{"a base from the top", good, "Windmill/Stake 3", "/etc", "E053"},
		{"a path twice", good, entry, entry + ",\n" + entry, "twice"},
		{"a path that climbs", good, `"site.toml"`, `"../site.toml"`, "E052"},
		{"a reserved path", good, `"site.toml"`, `".linecamp/record.json"`, "reserved"},
		{"an entry's unknown key", good, `"bytes": 12`, `"bytes": 12, "size": 1`, "unknown"},
		{"an entry's key twice", good, `"bytes": 12`, `"bytes": 12, "bytes": 12`, "twice"},
		{"an entry without bytes", good, `"bytes": 12, `, ``, "lacks"},
		{"an entry without kind", good, `"kind": "card", `, ``, "lacks"},
		{"an entry without time", good, `, "modified": "0001-01-01T00:00:00.000000000Z"`, ``, "lacks"},
		{"bytes below zero", good, `"bytes": 12`, `"bytes": -12`, "whole number"},
		{"bytes with a fraction", good, `"bytes": 12`, `"bytes": 12.0`, "whole number"},
		{"bytes with an exponent", good, `"bytes": 12`, `"bytes": 12e2`, "whole number"},
		{"bytes padded", good, `"bytes": 12`, `"bytes": 012`, "zero"},
		{"bytes beyond 63 bits", good, `"bytes": 12`, `"bytes": 9223372036854775808`, "too large"},
		{"bytes as a string", good, `"bytes": 12`, `"bytes": "12"`, "whole number"},
		{"a time without nanoseconds", good, `"0001-01-01T00:00:00.000000000Z"`, `"0001-01-01T00:00:00Z"`, "time"},
		{"a time elsewhere", good, `"0001-01-01T00:00:00.000000000Z"`, `"0001-01-01T00:00:00.000000000+00:00"`, "time"},
		{"a kind that is none", good, `"card"`, `"movie"`, "kind"},
		{"a visit that is no day", good, `"visit": "2012"`, `"visit": "2012-13-01"`, "visit"},
		{"a visit that is a month", good, `"visit": "2012"`, `"visit": "2012-06"`, "visit"},
		{"a companion of nothing", good, `"with": "2019-06-21/plot.jpg"`, `"with": "2019-06-21/x.jpg"`, "not there"},
		{"a companion of itself", good, `"with": "2019-06-21/plot.jpg"`, `"with": "2019-06-21/plot.xmp"`, "companion"},
		{"a photo with a photo", good, `"kind": "companion"`, `"kind": "photo"`, "companion"},
		{"a raw name that is another's", good, `"raw": "`, `"raw": "YWJj`, "escaped"},
		{"a raw name that needs none", good, `"bytes": 12,`, `"bytes": 12, "raw": "c2l0ZS50b21s",`, "escaped"},
		{"a raw name that is no base64", good, `"raw": "`, `"raw": "*`, "base64"},
		{"a raw name that is empty", good, `"bytes": 12,`, `"bytes": 12, "raw": "",`, "base64"},
		{"a raw name with a line break", good, `"raw": "`, `"raw": "\n`, "base64"},
		{"a decision that is none", good, `"explained"`, `"ignored"`, "none of"},
		{"a decision without what", good, `"what": "explained", `, ``, "lacks"},
		{"a decision without when", good, `"when": "2026-07-02T02:30:00Z", `, ``, "lacks"},
		{"a decision with an empty year", good, `"2014"`, `""`, "empty"},
		{"a decision's year as a number", good, `"2014"`, `2014`, "string"},
		{"a raw base of another base", raw, `"base": "caf`, `"base": "cab`, "belong"},
		{"a raw base that needs none", raw, `"base": "Y2Fm6Q=="`, `"base": "Y2Fm"`, "needs no"},
		{"a raw unknown name", raw, `"base": "Y2Fm6Q=="`, `"face": "Y2Fm6Q=="`, "unknown"},
		{"something after the end", good, "\n}\n", "\n}\n1", "follows"},
	} {
		text := strings.Replace(c.text, c.old, c.new, 1)
		if text == c.text {
			t.Errorf("%s: nothing changed", c.why)
			continue
		}
		_, err := DecodeRecord([]byte(text))
		if !errors.Is(err, ErrRecord) || !strings.Contains(err.Error(), c.rule) {
			t.Errorf("%s: got %v; want ErrRecord that names %q", c.why, err, c.rule)
		}
	}
	for n := range len(good) - 1 {
		if _, err := DecodeRecord([]byte(good[:n])); !errors.Is(err, ErrRecord) {
			t.Fatalf("the first %d bytes: %v", n, err)
		}
	}
}
