package ledger

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"hash"
	"math"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/encoding/wkb"

	"github.com/asfound/asfound/pipeline/survey"
)

// records writes which records are no longer as they were, and what is new.
func (w *writer) records(s *survey.Survey) {
	type standing struct {
		digest    [sha256.Size]byte
		corrected bool
		left      string
	}
	before := map[string]standing{}
	w.query("SELECT key, digest, corrected, left FROM record WHERE until IS NULL", func(scan func(...any) error) error {
		var key string
		var digest []byte
		var at standing
		err := scan(&key, &digest, &at.corrected, &at.left)
		copy(at.digest[:], digest)
		before[key] = at
		return err
	})
	content := w.each("INSERT OR IGNORE INTO content VALUES (?, ?, ?, ?, ?, ?, ?)")
	span := w.each("INSERT INTO record(key, digest, corrected, left, first) VALUES (?, ?, ?, ?, ?)")
	end := w.each("UPDATE record SET until = ? WHERE key = ? AND until IS NULL AND first < ?")
	for i, key := range keysOf(s) {
		rec := &s.Records[i]
		now := standing{digestOf(s, rec), rec.Corrected, leftJSON(rec.Left)}
		was, known := before[key]
		delete(before, key)
		if known && was == now {
			continue
		}
		if known {
			end(w.run, key, w.run)
		}
		if !known || was.digest != now.digest {
			content(now.digest[:], w.run, lineBlob(rec.Parts), rec.Utility, rec.Sheet, nullable(rec.CoverM), recordJSON(s, rec))
		}
		span(key, now.digest[:], now.corrected, now.left, w.run)
	}
	for key := range before { // gone from the map
		end(w.run, key, w.run)
	}
}

// keysOf are the records' keys, with the row behind those that a source repeats.
func keysOf(s *survey.Survey) []string {
	met := map[string]bool{}
	keys := make([]string, len(s.Records))
	for i := range s.Records {
		keys[i] = s.Records[i].Key()
		if met[keys[i]] {
			keys[i] = fmt.Sprintf("%s@%d", keys[i], s.Records[i].Feature+1)
		}
		met[keys[i]] = true
	}
	return keys
}

// digestOf is what a record is: its line and attributes as they stand in the
// source, and what the config makes of them.
func digestOf(s *survey.Survey, rec *survey.Record) (sum [sha256.Size]byte) {
	h := sha256.New()
	layer := &s.Layers[rec.Layer]
	f := &layer.Features[rec.Feature]
	text(h, layer.CRS, rec.Utility, rec.Sheet)
	number(h, rec.CoverM)
	for p, part := range f.Parts {
		number(h, float64(len(part)))
		for i, at := range part {
			number(h, at[0], at[1])
			if f.Z != nil {
				number(h, f.Z[p][i])
			}
		}
	}
	for i, v := range f.Values {
		text(h, layer.Fields[i].Name, v.Text)
	}
	h.Sum(sum[:0])
	return sum
}

func text(h hash.Hash, words ...string) {
	for _, s := range words {
		number(h, float64(len(s)))
		h.Write([]byte(s)) // a hash never fails
	}
}

func number(h hash.Hash, vs ...float64) {
	var b [8]byte
	for _, v := range vs {
		binary.LittleEndian.PutUint64(b[:], math.Float64bits(v))
		h.Write(b[:])
	}
}

// recordJSON is a record's id and the attributes that it has in the source.
func recordJSON(s *survey.Survey, rec *survey.Record) string {
	layer := &s.Layers[rec.Layer]
	var b bytes.Buffer
	quote := func(v any) {
		text, err := json.Marshal(v)
		if err != nil {
			text = []byte("null") // a text always has a JSON form
		}
		b.Write(text)
	}
	b.WriteString(`{"id":`)
	quote(rec.ID)
	b.WriteString(`,"attributes":{`)
	for i, v := range layer.Features[rec.Feature].Values {
		if i > 0 {
			b.WriteByte(',')
		}
		quote(layer.Fields[i].Name)
		b.WriteByte(':')
		if v.Null {
			quote(nil)
		} else {
			quote(v.Text)
		}
	}
	b.WriteString("}}")
	return b.String()
}

// lineBlob is a line as the ledger holds it: well-known binary.
func lineBlob(l orb.MultiLineString) []byte {
	if l == nil {
		l = orb.MultiLineString{}
	}
	b, err := wkb.Marshal(l, binary.LittleEndian)
	if err != nil {
		return nil // a buffer takes every line
	}
	return b
}

// nullable is a number as the ledger holds it, which has no word for NaN.
func nullable(v float64) any {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return v
}

// leftJSON is what a record tells of the sheet that it left; "" where it tells
// nothing.
func leftJSON(l survey.Left) string {
	if len(l.Forms) == 0 {
		return ""
	}
	text, err := json.Marshal(l)
	if err != nil {
		return "" // finite numbers always have a JSON form
	}
	return string(text)
}

func leftOf(text string) (l survey.Left) {
	if text == "" || json.Unmarshal([]byte(text), &l) != nil {
		return survey.Left{}
	}
	return l
}
