package layout_test

import (
	"fmt"
	"time"

	"linecamp/manifest/layout"
)

// One path says by itself what site and visit it is of.
func ExampleLayout_Understand() {
	l, err := layout.New("", nil, time.Date(2026, 7, 1, 0, 0, 0, 0, time.UTC))
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, path := range []string{"Windmill/Stake 3/2026-06-21/plot.jpg", "2025/Windmill/Stake 3/landscape north.jpg", "IMG_0001.jpg"} {
		p := l.Understand(path)
		fmt.Printf("%q %q %q %d %s\n", p.Pasture, p.Site, p.Date, p.Year, p.View)
	}
	// Output:
	// "Windmill" "Stake 3" "2026-06-21" 2026 plot
	// "Windmill" "Stake 3" "" 2025 landscape
	// "" "" "" 0 untold
}
