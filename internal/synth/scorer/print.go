package scorer

import (
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"
)

// Column is one column of the table.
type Column struct {
	Head  string
	Tally *Tally
}

const (
	nameWidth = 52
	aimWidth  = 9
	cellWidth = 31
)

// Print writes the table: a row a figure, under the head of its group; in each
// column the value, its 95 % interval and the number of cases.
func Print(w io.Writer, columns []Column) error {
	var b strings.Builder
	line := func(name, aim string, cells []string) {
		text := fmt.Sprintf("%-*s %*s", nameWidth, name, aimWidth, aim)
		for _, c := range cells {
			text += strings.Repeat(" ", max(cellWidth+2-utf8.RuneCountInString(c), 1)) + c
		}
		b.WriteString(strings.TrimRight(text, " ") + "\n")
	}
	heads := make([]string, len(columns))
	for i, c := range columns {
		heads[i] = c.Head
	}
	line("shares in %, their 95 % interval, number of cases", "wanted", heads)
	group := ""
	for f := range numFigures {
		d := &figures[f]
		if d.group != group {
			group = d.group
			b.WriteString("\n" + group + "\n")
		}
		cells := make([]string, len(columns))
		for i, c := range columns {
			cells[i] = c.Tally.text(f)
		}
		line("  "+d.name, d.aim, cells)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// text is one figure as the table shows it: the value, its interval or 95th
// percentile, the number of cases, each at its place.
func (t *Tally) text(f Figure) string {
	n := t.Cases(f)
	if n == 0 {
		return "-"
	}
	var value, beside string
	switch k := figures[f].kind; k {
	case share, promise:
		low, high := t.Interval(f)
		value, beside = fmt.Sprintf("%.1f", 100*t.Share(f).Value()), fmt.Sprintf("(%.1f-%.1f)", 100*low, 100*high)
		if k == promise {
			value = fmt.Sprintf("%.1f: %s", 100*t.Promised(f), value)
		}
	case means, squares:
		v := t.Values(f)
		value, beside = fmt.Sprintf("%.3f", mean(v)), fmt.Sprintf("/ %.3f", quantile(v, 0.95))
		if k == squares {
			value = fmt.Sprintf("%.3f", rms(v))
		}
	default:
		value = fmt.Sprintf("%.3f", mean(t.Values(f)))
	}
	return fmt.Sprintf("%s %-13s%7d", value, beside, n)
}

// WriteCSV writes the table for other programs: a row a figure and column; shares
// are between 0 and 1, lengths metres, what does not apply is empty.
func WriteCSV(w io.Writer, columns []Column) error {
	c := csv.NewWriter(w)
	rows := [][]string{{"group", "figure", "wanted", "of", "cases", "share", "low", "high", "promised", "mean", "rms", "p95"}}
	for f := range numFigures {
		for _, col := range columns {
			rows = append(rows, append([]string{figures[f].group, figures[f].name, figures[f].aim, col.Head}, col.Tally.cells(f)...))
		}
	}
	if err := c.WriteAll(rows); err != nil {
		return fmt.Errorf("write table: %w", err)
	}
	return nil
}

func (t *Tally) cells(f Figure) []string {
	out := make([]string, 8)
	n := t.Cases(f)
	out[0] = strconv.Itoa(n)
	if n == 0 {
		return out
	}
	number := func(v float64) string {
		if math.IsNaN(v) {
			return ""
		}
		return strconv.FormatFloat(v, 'f', 6, 64)
	}
	if k := figures[f].kind; k == share || k == promise {
		low, high := t.Interval(f)
		out[1], out[2], out[3] = number(t.Share(f).Value()), number(low), number(high)
		if k == promise {
			out[4] = number(t.Promised(f))
		}
		return out
	}
	v := t.Values(f)
	out[5], out[6], out[7] = number(mean(v)), number(rms(v)), number(quantile(v, 0.95))
	return out
}
