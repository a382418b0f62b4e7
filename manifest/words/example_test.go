package words_test

import (
	"fmt"

	"linecamp/manifest/words"
)

// Counts, sizes and command lines, as every screen has them.
func Example() {
	line := words.Line{Archive: "saltbush-draw"}
	fmt.Printf("%s, %s\n", words.Count(3, "file"), words.Size(1_500_000))
	fmt.Println(line.Run("restore", "Windmill / Stake 3", "--into", "back"))
	fmt.Println(line.Text("look, then run `linecamp mirror --accept-changes`"))
	// Output:
	// 3 files, 1.5 MB
	// linecamp restore 'Windmill / Stake 3' --into back --archive saltbush-draw
	// look, then run `linecamp mirror --accept-changes --archive saltbush-draw`
}
