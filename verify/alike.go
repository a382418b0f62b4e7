package verify

// Alike is two sites that look like one stake under two names, about which
// nobody has decided. It asks, and is no fault.
type Alike struct {
	Now    AlikeSite `json:"now"`    // the one that is visited
	Former AlikeSite `json:"former"` // the one that ended
	Text   string    `json:"text"`   // what makes them look like one

	Distances []float64 `json:"-"` // in meters, as they stand in Text
}

// AlikeSite is one of two sites that look alike.
type AlikeSite struct {
	Site    string `json:"site"`
	Pasture string `json:"pasture"`
	Object  string `json:"object"`
	First   int    `json:"first"` // visited years
	Last    int    `json:"last"`
}
