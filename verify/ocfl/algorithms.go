package ocfl

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

// algorithm is one of the digests of section 3.4 or of the community extension
// 0009-digest-algorithms.
type algorithm struct {
	name     string
	digits   int    // of its hexadecimal form; 0 for a form of its own
	encoding string // the code for a digest that is not written as it should be
	new      func() digester
}

// digester takes bytes and gives a digest as it is written, in lower case.
type digester interface {
	Write(p []byte) (int, error)
	digest() string
}

type hexDigester struct{ hash.Hash }

func (h hexDigester) digest() string { return hex.EncodeToString(h.Sum(nil)) }

// sizeDigester is the "digest" of the extension that only counts bytes.
type sizeDigester int64

func (n *sizeDigester) Write(p []byte) (int, error) {
	*n += sizeDigester(len(p))
	return len(p), nil
}

func (n *sizeDigester) digest() string { return strconv.FormatInt(int64(*n), 10) }

func blake2(bytes int) func() hash.Hash {
	return func() hash.Hash {
		h, err := blake2b.New(bytes, nil)
		if err != nil { // only for a size that does not exist
			panic(err)
		}
		return h
	}
}

var algorithms = func() map[string]*algorithm {
	out := map[string]*algorithm{
		"size": {name: "size", encoding: "E057", new: func() digester { return new(sizeDigester) }},
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
		out[a.name] = &algorithm{a.name, 2 * a.new().Size(), a.encoding, func() digester { return hexDigester{a.new()} }}
	}
	return out
}()

// contentAlgorithm is an algorithm that may address content, nil if name is not
// one (section 3.4).
func contentAlgorithm(name string) *algorithm {
	if name == "sha512" || name == "sha256" {
		return algorithms[name]
	}
	return nil
}

// written reports whether d has the form of a digest of this algorithm.
func (a *algorithm) written(d string) bool {
	if a.digits == 0 {
		n, err := strconv.ParseInt(d, 10, 64)
		return err == nil && n >= 0 && strconv.FormatInt(n, 10) == d
	}
	return len(d) == a.digits && isHex(d)
}
