package marks

import (
	"reflect"
	"testing"

	"pgregory.net/rapid"
)

type notes map[string]string

func (n notes) Value(key string) (string, bool, error) { v, ok := n[key]; return v, ok, nil }
func (n notes) SetValue(key, value string) error       { n[key] = value; return nil }

// What was set is there, once and in its order, until it is dropped; the two lists do not
// touch one another, and a line that tells no mark does no harm.
func TestMarks(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := notes{BegunKey: "torn line\n"}
		begun, passed := Begun(n), PassedOver(n)
		var want []Mark
		for range rapid.IntRange(0, 20).Draw(t, "steps") {
			m := Mark{rapid.SampledFrom([]string{"a", "b"}).Draw(t, "copy"), rapid.SampledFrom([]string{"x", "y"}).Draw(t, "slug"), rapid.IntRange(1, 3).Draw(t, "n")}
			var kept []Mark
			for _, o := range want {
				if o != m {
					kept = append(kept, o)
				}
			}
			var err error
			if rapid.Bool().Draw(t, "drop") {
				err, want = begun.Drop(func(o Mark) bool { return o == m }), kept
			} else {
				if err = begun.Add(m); len(kept) == len(want) {
					want = append(want, m)
				}
			}
			if err != nil {
				t.Fatal(err)
			}
			got, err := begun.All()
			if err != nil || len(got)+len(want) > 0 && !reflect.DeepEqual(got, want) {
				t.Fatalf("%v, want %v (%v)", got, want, err)
			}
		}
		if got, err := passed.All(); err != nil || len(got) > 0 {
			t.Fatal(got, err)
		}
	})
}
