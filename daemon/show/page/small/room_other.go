//go:build !unix

package small

import "errors"

func reserve(int) ([]byte, error) {
	return nil, errors.New("this system is not asked to set addresses aside")
}
