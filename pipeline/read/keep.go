package read

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/gob"
	"encoding/hex"
	"encoding/json"
	"errors"
	"math"
	"path"
	"slices"
	"time"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/pipeline/survey"
)

// Keep is what earlier runs have read of files of readings. A file that has the
// bytes that it had, and is to be read as it was, is not read again; one that is
// no longer there still counts, as long as the config names it.
type Keep struct {
	Before []KeptFile // what the last run kept
	Load   func(key string) ([]byte, error)
	Save   func(key string, data []byte) error
	Anew   bool // read every file that is there
}

// KeptFile is a file that was read, by its name in the job. Its key hangs on its
// bytes and on how they were read.
type KeptFile struct{ Name, Key, SHA256, How string }

// keptVersion is raised with every change of what is made of the same bytes, or of
// how that is kept.
const keptVersion = 1

// gone is the note of a file that is no longer there.
const gone = "it is no longer there: its readings are those that an earlier run read"

// how is all that what is made of a file's bytes hangs on, beside them.
func (in *inputs) how(src FieldSource) (string, error) {
	src.File.Path, src.File.Name = "", ""
	var grids []string
	for _, g := range in.options.Grids {
		grids = append(grids, g.SHA256)
	}
	text, err := json.Marshal([]any{keptVersion, src, in.plane.system.Definition(), in.plane.solarOffset, in.options.MaxRejectShare, grids})
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:]), err
}

// readFieldOnce reads a file of readings, unless an earlier run has.
func (in *inputs) readFieldOnce(ctx context.Context, src FieldSource) (*fieldFile, error) {
	k := in.options.Keep
	if several := src.Log.Path != "" || extension(src.Path) == ".shp"; k == nil || several || src.CRS == "" && src.Frame != "" {
		return readField(ctx, src, in.plane, in.options.MaxRejectShare)
	}
	how, err := in.how(src)
	if err != nil {
		return nil, err
	}
	why := survey.ReadNew
	if n := slices.IndexFunc(k.Before, func(f KeptFile) bool { return f.Name == src.Name }); n >= 0 {
		before := &k.Before[n]
		sum, _, err := digest(src.Path)
		switch {
		case err != nil || sum != before.SHA256:
			why = survey.ReadChanged
		case how != before.How:
			why = survey.ReadConfig
		case k.Anew:
			why = survey.ReadAnew
		default:
			if f, err := in.loadField(*before, src.File, src.Epoch); err == nil {
				f.Read = survey.ReadKept
				return f, nil
			}
			why = survey.ReadAnew
		}
	}
	f, err := readField(ctx, src, in.plane, in.options.MaxRejectShare)
	if err != nil || f.SetAside != "" {
		return f, err
	}
	f.Read = why
	return f, in.saveField(f, how)
}

// goneFields are the kept files that are no longer there, but that a pattern of
// the config still names.
func (in *inputs) goneFields() []*fieldFile {
	k := in.options.Keep
	if k == nil {
		return nil
	}
	var out []*fieldFile
	for _, before := range k.Before {
		if slices.ContainsFunc(in.plan.field, func(s FieldSource) bool { return s.Name == before.Name }) {
			continue
		}
		n := slices.IndexFunc(in.options.FieldPatterns, func(s FieldSource) bool {
			match, err := path.Match(s.Name, before.Name)
			return err == nil && match
		})
		if n < 0 {
			continue
		}
		src := in.options.FieldPatterns[n]
		src.Name = before.Name
		how, err := in.how(src)
		if err == nil && how != before.How {
			err = errors.New("what the config says of it has changed since it was read")
		}
		var f *fieldFile
		if err == nil {
			f, err = in.loadField(before, src.File, src.Epoch)
		}
		if err != nil {
			f = &fieldFile{account: account{Source: survey.Source{Name: before.Name, Role: survey.RoleField, SHA256: before.SHA256}}}
			f.SetAside = "it is no longer there, and what an earlier run read of it cannot be used: " + err.Error()
		} else {
			f.Notes = append(f.Notes, gone)
			f.Read = survey.ReadGone
		}
		out = append(out, f)
	}
	return out
}

// keptField is all of a file but its readings.
type keptField struct {
	Source  survey.Source
	Rejects []survey.Reject
	Located bool
	CRS     string // definition of the positions' system
	Sample  []orb.Point
	Walks   []keptWalk
	Count   int
}

type keptWalk struct {
	Label, Crew, Receiver, Utility, Ticket, Session, Position string
	Day                                                       int32
}

func (in *inputs) saveField(f *fieldFile, how string) error {
	head := keptField{Source: f.Source, Rejects: f.rejects, Located: f.located, Sample: f.sample.points(), Count: len(f.readings)}
	if f.to.from != nil {
		head.CRS = f.to.from.Definition()
	}
	for _, w := range f.walks {
		head.Walks = append(head.Walks, keptWalk{w.label, w.crew, w.receiver, w.utility, w.ticket, w.session, w.position, w.day})
	}
	data, err := encodeKept(&head, f.readings, f.walkOf)
	if err != nil {
		return err
	}
	sum := sha256.Sum256([]byte(f.SHA256 + how))
	f.Kept, f.How = hex.EncodeToString(sum[:16]), how
	return in.options.Keep.Save(f.Kept, data)
}

var errKept = errors.New("what was kept is not whole")

func (in *inputs) loadField(k KeptFile, file File, epoch float64) (*fieldFile, error) {
	data, err := in.options.Keep.Load(k.Key)
	if err != nil {
		return nil, err
	}
	head, readings, walkOf, err := decodeKept(data)
	if err != nil {
		return nil, err
	}
	f := &fieldFile{account: account{Source: head.Source, rejects: head.Rejects, located: head.Located}, readings: readings, walkOf: walkOf}
	f.Kept, f.How = k.Key, k.How
	if head.CRS != "" {
		system, err := parseSystem(file, head.CRS)
		if err != nil {
			return nil, err
		}
		if f.to, err = in.plane.projection(system, epoch); err != nil {
			return nil, err
		}
		f.file = file
	}
	for _, p := range head.Sample {
		f.sample.add(p)
	}
	for _, w := range head.Walks {
		f.walks = append(f.walks, walk{w.Label, w.Crew, w.Receiver, w.Utility, w.Ticket, w.Session, w.Position, w.Day})
	}
	return f, nil
}

// encodeKept is the bytes that a file is kept as: the length of the head, the head,
// and reading by reading.
func encodeKept(head *keptField, readings []survey.Reading, walkOf []int32) ([]byte, error) {
	var b bytes.Buffer
	if err := gob.NewEncoder(&b).Encode(head); err != nil {
		return nil, err
	}
	data := binary.LittleEndian.AppendUint64(make([]byte, 0, b.Len()+140*len(readings)), uint64(b.Len()))
	data = append(data, b.Bytes()...)
	for i := range readings {
		data = appendReading(data, &readings[i], walkOf[i])
	}
	return data, nil
}

// decodeKept is its inverse. Whatever the bytes, it takes no more memory than a few
// times theirs.
func decodeKept(data []byte) (head keptField, readings []survey.Reading, walkOf []int32, err error) {
	if len(data) < 8 || uint64(len(data)-8) < binary.LittleEndian.Uint64(data) {
		return head, nil, nil, errKept
	}
	size := binary.LittleEndian.Uint64(data)
	rest := data[8+size:]
	if err := gob.NewDecoder(bytes.NewReader(data[8 : 8+size])).Decode(&head); err != nil {
		return head, nil, nil, err
	}
	if head.Count < 0 || head.Count > len(rest)/readingBytes {
		return head, nil, nil, errKept
	}
	readings, walkOf = make([]survey.Reading, head.Count), make([]int32, head.Count)
	for i := range readings {
		if rest, err = takeReading(rest, &readings[i], &walkOf[i]); err != nil {
			return head, nil, nil, err
		}
		if walkOf[i] < 0 || int(walkOf[i]) >= len(head.Walks) {
			return head, nil, nil, errKept
		}
		readings[i].File = head.Source.Name
	}
	if len(rest) > 0 {
		return head, nil, nil, errKept
	}
	return head, readings, walkOf, nil
}

// floats are a reading's numbers, in the order in which they are kept.
func floats(m *survey.Reading) [8]*float64 {
	return [...]*float64{&m.Point[0], &m.Point[1], &m.ElevationM, &m.SigmaM, &m.DepthM, &m.CurrentA, &m.FrequencyHz, &m.SeparationM}
}

// readingBytes is how long a kept reading is without its remark.
const readingBytes = 4 + 4 + 4 + 8 + 4 + 8*8 + 5 + 4

func appendReading(b []byte, m *survey.Reading, walk int32) []byte {
	le := binary.LittleEndian
	b = le.AppendUint32(le.AppendUint32(le.AppendUint32(b, uint32(m.Row)), uint32(m.Line)), uint32(walk))
	seconds, nanos := int64(math.MinInt64), 0
	if !m.Time.IsZero() {
		seconds, nanos = m.Time.Unix(), m.Time.Nanosecond()
	}
	b = le.AppendUint32(le.AppendUint64(b, uint64(seconds)), uint32(nanos))
	for _, v := range floats(m) {
		b = le.AppendUint64(b, math.Float64bits(*v))
	}
	doubt := byte(0)
	if m.Doubt {
		doubt = 1
	}
	b = append(b, byte(m.Fix), byte(m.DepthTo), byte(m.Mode), byte(m.Hookup), doubt)
	return append(le.AppendUint32(b, uint32(len(m.Remark))), m.Remark...)
}

func takeReading(b []byte, m *survey.Reading, walk *int32) ([]byte, error) {
	if len(b) < readingBytes {
		return nil, errKept
	}
	le := binary.LittleEndian
	m.Row, m.Line, *walk = int(le.Uint32(b)), int(le.Uint32(b[4:])), int32(le.Uint32(b[8:]))
	if seconds := int64(le.Uint64(b[12:])); seconds != math.MinInt64 {
		m.Time = time.Unix(seconds, int64(le.Uint32(b[20:]))).UTC()
	}
	for i, v := range floats(m) {
		*v = math.Float64frombits(le.Uint64(b[24+8*i:]))
	}
	b = b[readingBytes-9:]
	m.Fix, m.DepthTo, m.Mode, m.Hookup, m.Doubt = survey.Fix(b[0]), survey.DepthTo(b[1]), survey.Mode(b[2]), survey.Hookup(b[3]), b[4] == 1
	size := int(le.Uint32(b[5:]))
	if b = b[9:]; size > len(b) {
		return nil, errKept
	}
	m.Remark = string(b[:size])
	return b[size:], nil
}

// After lists what is kept after a run: what was read, and what could not be used
// or was not asked for tonight. Evidence is only dropped where somebody says so.
func (k *Keep) After(s *survey.Survey) (out []KeptFile) {
	met := map[string]bool{}
	for i := range s.Sources {
		if src := &s.Sources[i]; src.Kept != "" {
			out = append(out, KeptFile{Name: src.Name, Key: src.Kept, SHA256: src.SHA256, How: src.How})
			met[src.Name] = true
		}
	}
	for _, f := range k.Before {
		if !met[f.Name] {
			out = append(out, f)
		}
	}
	return out
}
