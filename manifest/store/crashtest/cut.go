package crashtest

import (
	"bytes"
	"io/fs"
	"maps"
	"math/rand/v2"
	"os"
	"path"
	"path/filepath"
	"slices"
)

// Cut cuts the power: the folder becomes one of those that the account allows,
// chosen by seed, and is safe from then on. No drive may be open on it.
func (d *Drive) Cut(seed uint64) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	c := &cut{rand: rand.New(rand.NewPCG(seed, 0)), chosen: map[*node]map[string]*node{}, held: map[*node][]byte{},
		places: map[*node][]place{}, files: map[string][]byte{}, folders: map[string]bool{}}
	c.choose(d.root)
	c.place(d.root, place{".", true})
	c.fill(d.root)
	if err := c.rewrite(d.dir); err != nil {
		return err
	}
	root, err := read(d.dir)
	d.root, d.at, d.stopped = root, 0, false
	return err
}

// cut is one outcome of a power cut.
type cut struct {
	rand    *rand.Rand
	chosen  map[*node]map[string]*node // what each name of a folder shows
	held    map[*node][]byte           // what each file holds
	places  map[*node][]place          // where each folder is seen
	files   map[string][]byte
	folders map[string]bool
}

// choose decides what is seen of a folder and what is in it. Names are taken in
// order, so that a seed always means the same.
func (c *cut) choose(n *node) {
	if _, done := c.chosen[n]; done {
		return
	}
	c.chosen[n] = map[string]*node{}
	for _, base := range slices.Sorted(maps.Keys(n.names)) {
		is := c.name(n.names[base])
		if is == nil {
			continue
		}
		c.chosen[n][base] = is
		if is.folder {
			c.choose(is)
		} else if _, done := c.held[is]; !done {
			c.held[is] = c.bytes(is)
		}
	}
}

func (c *cut) name(n *name) *node {
	may := n.showed
	if n.replaced {
		may = append(may[:len(may):len(may)], nil)
	}
	return may[c.rand.IntN(len(may))]
}

func (c *cut) bytes(n *node) []byte {
	if !n.dirty {
		return n.bytes
	}
	same := 0
	for same < min(len(n.safe), len(n.bytes)) && n.safe[same] == n.bytes[same] {
		same++
	}
	some := same + c.rand.IntN(len(n.bytes)-same+1)
	switch c.rand.IntN(4) {
	case 0:
		return n.safe
	case 1:
		return n.bytes
	case 2:
		return n.bytes[:some]
	default:
		return append(bytes.Clone(n.bytes[:some]), make([]byte, len(n.bytes)-some)...)
	}
}

// place is a name under which a folder is seen.
type place struct {
	at   string
	safe bool // the name was synced, and those of the folders above
}

// place notes under which names each folder is seen.
func (c *cut) place(n *node, is place) {
	c.places[n] = append(c.places[n], is)
	c.folders[is.at] = true
	for _, base := range slices.Sorted(maps.Keys(c.chosen[n])) {
		if child := c.chosen[n][base]; child.folder {
			c.place(child, place{path.Join(is.at, base), is.safe && len(n.names[base].showed) == 1})
		}
	}
}

// fill puts the files of a folder where it is seen. Where that is at two
// places, a file may be at one of them only; but what is under a safe name is.
func (c *cut) fill(n *node) {
	for _, base := range slices.Sorted(maps.Keys(c.chosen[n])) {
		is := c.chosen[n][base]
		if is.folder {
			if c.places[is][0].at == path.Join(c.places[n][0].at, base) {
				c.fill(is) // once
			}
			continue
		}
		places := c.places[n]
		only := c.rand.IntN(len(places) + 1) // the last stands for all
		for i, p := range places {
			if i == only || only == len(places) || p.safe {
				c.files[path.Join(p.at, base)] = c.held[is]
			}
		}
	}
}

// rewrite makes the real folder what was chosen, and touches nothing that is so
// already.
func (c *cut) rewrite(dir string) error {
	var folders []string
	err := filepath.WalkDir(dir, func(full string, e fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(dir, full)
		if err != nil {
			return err
		}
		key := filepath.ToSlash(rel)
		if e.IsDir() {
			folders = append(folders, key)
			return nil
		}
		if want, ok := c.files[key]; ok {
			if is, err := os.ReadFile(full); err == nil && bytes.Equal(is, want) {
				delete(c.files, key)
				return nil
			}
		}
		return os.Remove(full) // not written over: it may have another name
	})
	if err != nil {
		return err
	}
	for _, key := range slices.Backward(folders) { // what is inside comes later
		if !c.folders[key] {
			if err := os.Remove(filepath.Join(dir, filepath.FromSlash(key))); err != nil {
				return err
			}
		}
	}
	for key := range c.folders {
		if err := os.MkdirAll(filepath.Join(dir, filepath.FromSlash(key)), 0o777); err != nil {
			return err
		}
	}
	for key, b := range c.files {
		if err := os.WriteFile(filepath.Join(dir, filepath.FromSlash(key)), b, 0o666); err != nil {
			return err
		}
	}
	return nil
}
