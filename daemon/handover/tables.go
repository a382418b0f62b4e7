package handover

import (
	"bytes"
	"encoding/csv"
	"slices"
	"strconv"
	"strings"

	"linecamp/verify"
)

// years is the table of years. RFC 4180: CRLF, quotes where they are needed.
func years(list []verify.Year) []byte {
	rows := [][]string{{"pasture", "site", "year", "state", "lacks"}}
	for _, y := range list {
		rows = append(rows, []string{y.Pasture, y.Site, strconv.Itoa(y.Year), y.State, strings.Join(y.Lacks, "; ")})
	}
	return table(rows)
}

// changes is the table of pictures whose bytes are not those of the record.
func changes(list []change) []byte {
	rows := [][]string{{"path", "change", "sha256 on record"}}
	for _, c := range list {
		rows = append(rows, []string{"data/" + c.path, "the position was taken out", c.recorded.String()})
	}
	slices.SortFunc(rows[1:], slices.Compare)
	return table(rows)
}

func table(rows [][]string) []byte {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.UseCRLF = true
	for _, r := range rows {
		for i := range r {
			r[i] = tame(r[i])
		}
		_ = w.Write(r) // a Buffer takes everything
	}
	w.Flush()
	return b.Bytes()
}

// tame keeps a spreadsheet from running a cell: one that begins like a formula
// gets an apostrophe in front, which says "text" (common practice).
func tame(cell string) string {
	if cell != "" && strings.ContainsRune("=+-@\t\r\n", rune(cell[0])) {
		return "'" + cell
	}
	return cell
}
