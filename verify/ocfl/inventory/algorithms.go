package inventory

import (
	"crypto/md5"
	"crypto/sha1"
	"crypto/sha256"
	"crypto/sha512"
	"encoding/hex"
	"hash"
	"strconv"

	"golang.org/x/crypto/blake2b"
)

// Algorithm is one of the digests of section 3.4 or of the community extension
// 0009-digest-algorithms.
type Algorithm struct {
	Name     string
	digits   int    // of its hexadecimal form; 0 for a form of its own
	encoding string // the code for a digest that is not written as it should be
	New      func() Digester
}

// Digester takes bytes and gives a digest as it is written, in lower case.
type Digester interface {
	Write(p []byte) (int, error)
	Digest() string
}

type hexDigester struct{ hash.Hash }

func (h hexDigester) Digest() string { return hex.EncodeToString(h.Sum(nil)) }

// sizeDigester is the "digest" of the extension that only counts bytes.
type sizeDigester int64

func (n *sizeDigester) Write(p []byte) (int, error) {
	*n += sizeDigester(len(p))
	return len(p), nil
}

func (n *sizeDigester) Digest() string { return strconv.FormatInt(int64(*n), 10) }

func blake2(bytes int) func() hash.Hash {
	return func() hash.Hash {
		h, err := blake2b.New(bytes, nil)
		if err != nil { // only for a size that does not exist
			panic(err)
		}
		return h
	}
}

var Algorithms = func() map[string]*Algorithm {
	out := map[string]*Algorithm{
		"size": {Name: "size", encoding: "E057", New: func() Digester { return new(sizeDigester) }},
	}
	for _, a := range []struct {
		name, encoding string
		new            func() hash.Hash
	}{
		{"md5", "E057", md5.New},
		{"sha1", "E029", sha1.New},
		{"sha256", "E030", sha256.New},
		{"sha512", "E031", sha512.New},
		{"blake2b-512", "E032", blake2(64)},
		{"blake2b-160", "E057", blake2(20)},
		{"blake2b-256", "E057", blake2(32)},
		{"blake2b-384", "E057", blake2(48)},
		{"sha512/256", "E057", sha512.New512_256},
	} {
		out[a.name] = &Algorithm{a.name, 2 * a.new().Size(), a.encoding, func() Digester { return hexDigester{a.new()} }}
	}
	return out
}()

// ContentAlgorithm is an algorithm that may address content, nil if name is not
// one (section 3.4).
func ContentAlgorithm(name string) *Algorithm {
	if name == "sha512" || name == "sha256" {
		return Algorithms[name]
	}
	return nil
}

// Written reports whether d has the form of a digest of this algorithm.
func (a *Algorithm) Written(d string) bool {
	if a.digits == 0 {
		n, err := strconv.ParseInt(d, 10, 64)
		return err == nil && n >= 0 && strconv.FormatInt(n, 10) == d
	}
	return len(d) == a.digits && IsHex(d)
}
