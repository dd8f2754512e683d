package publish

import (
	"bufio"
	"strconv"
)

// writeCSV writes a table as UTF-8, comma separated, after RFC 4180 with \n at
// the end of lines. Numbers have fixed decimals; what is not known is an empty
// cell.
func writeCSV(w *bufio.Writer, t table) error {
	line := make([]byte, 0, 512)
	for i, c := range t.columns {
		line = appendComma(line, i)
		line = append(line, c.name...)
	}
	if _, err := w.Write(append(line, '\n')); err != nil {
		return err
	}
	for r := range t.rows {
		line = line[:0]
		for i, c := range t.columns {
			line = appendCSVCell(appendComma(line, i), c, r.cells[i])
		}
		if _, err := w.Write(append(line, '\n')); err != nil {
			return err
		}
	}
	return nil
}

func appendCSVCell(b []byte, c column, v cell) []byte {
	switch {
	case c.unknown(v):
		return b
	case c.kind == kindText:
		return appendCSV(b, v.text)
	case c.kind == kindBool:
		return strconv.AppendBool(b, v.number != 0)
	case c.kind == kindInteger:
		return strconv.AppendInt(b, int64(v.number), 10)
	}
	return appendFixed(b, v.number, c.decimals)
}

// appendComma separates item i from the one before it.
func appendComma(b []byte, i int) []byte {
	if i > 0 {
		b = append(b, ',')
	}
	return b
}
