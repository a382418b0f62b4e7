package seal_test

import (
	"errors"
	"fmt"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/seal"
)

// A seal is printed, and later held against the log.
func Example() {
	day := time.Date(2026, 7, 2, 2, 30, 0, 0, time.UTC)
	var log seal.Seal
	add := func(version int, inventory string) {
		err := log.Append(seal.Line{At: day, What: seal.Version, Object: "linecamp:saltbush-draw:windmill--stake-3",
			Version: version, Inventory: manifest.Sum([]byte(inventory))})
		if err != nil {
			fmt.Println(err)
		}
	}
	add(1, "the first inventory")
	paper := log.Printed().String()
	add(2, "the second inventory")

	printed, err := seal.ParsePrinted(paper)
	fmt.Println(printed.Lines, printed.Day, err)
	fmt.Println("a longer log:", log.Bears(printed))
	fmt.Println("an empty one:", errors.Is((&seal.Seal{}).Bears(printed), seal.ErrShort))
	// Output:
	// 1 2026-07-02 <nil>
	// a longer log: <nil>
	// an empty one: true
}
