package verify

import "linecamp/manifest/geo"

// Former is a site that another took over: the same stake under an earlier name.
type Former struct {
	Site     string        `json:"site"`
	Pasture  string        `json:"pasture"`
	Object   string        `json:"object"`
	Position *geo.Position `json:"-"` // where it was declared to be; nil where it was not
}

// JoinedSite is a site that is judged together with those it took over.
type JoinedSite struct {
	Site    string   `json:"site"`
	Pasture string   `json:"pasture"`
	Object  string   `json:"object"`
	From    []Former `json:"from"`
}

// Label names the former site for a person.
func (f Former) Label() string {
	return Site{Object: f.Object, Site: f.Site, Pasture: f.Pasture}.Label()
}
