package pipeline

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/asfound/asfound/internal/crs"
	"github.com/asfound/asfound/internal/decisions"
	"github.com/asfound/asfound/internal/ledger"
	"github.com/asfound/asfound/internal/life"
	"github.com/asfound/asfound/pipeline/publish"
	"github.com/asfound/asfound/pipeline/read"
	"github.com/asfound/asfound/pipeline/survey"
)

// memory is what a run knows of earlier ones, and leaves for later ones. One
// without a ledger knows and leaves nothing.
type memory struct {
	ledger *ledger.Ledger
	beside []decisions.Row // of the workbook written beside
	known  bool            // an earlier run has kept what it read
	absent []string        // files to forget of which nothing is kept
}

func remember(job *Job) (*memory, error) {
	if job.Ledger == "" {
		return &memory{absent: job.Forget}, nil
	}
	l, err := ledger.Open(job.Ledger, job.Publish.Output)
	if err != nil {
		return nil, err
	}
	kept, err := l.Kept()
	if err != nil {
		return nil, errors.Join(err, l.Close())
	}
	k := &read.Keep{Load: l.Load, Save: l.Save, Anew: job.Full}
	for _, f := range kept {
		if !slices.Contains(job.Forget, f.Name) {
			k.Before = append(k.Before, read.KeptFile(f))
		}
	}
	job.Read.Keep = k
	m := &memory{ledger: l, known: len(kept) > 0}
	for _, name := range job.Forget {
		if !slices.ContainsFunc(kept, func(f ledger.Kept) bool { return f.Name == name }) {
			m.absent = append(m.absent, name)
		}
	}
	return m, nil
}

func (m *memory) close() error {
	if m.ledger == nil {
		return nil
	}
	return m.ledger.Close()
}

// recall puts what earlier runs left, and what people decided since, into a job.
func (m *memory) recall(s *survey.Survey, job *Job) (err error) {
	job.Past.Started = job.Publish.Started
	for _, name := range m.absent {
		s.Notes = append(s.Notes, name+" is not forgotten: no file of readings of that name was kept")
	}
	if m.ledger == nil {
		return nil
	}
	var grids []*crs.Grid
	for _, g := range job.Read.Grids {
		grids = append(grids, g.Grid)
	}
	if job.Past, err = m.ledger.Past(s.Plane, grids...); err != nil {
		return err
	}
	job.Past.Started = job.Publish.Started
	return m.decide(s, job)
}

// decide reads the workbooks of decisions as a source of the job.
func (m *memory) decide(s *survey.Survey, job *Job) error {
	var all []decisions.Row
	sources := map[string]*survey.Source{}
	for _, file := range []string{decisions.Name, decisions.Beside} {
		path := filepath.Join(job.Publish.Output, file)
		data, err := os.ReadFile(path)
		if err != nil {
			continue // there is none yet, or Update says why it cannot be read
		}
		sum := sha256.Sum256(data)
		src := &survey.Source{Name: file, Role: survey.RoleDecisions, SHA256: hex.EncodeToString(sum[:]), Bytes: int64(len(data))}
		rows, err := decisions.Read(data, file)
		if err != nil {
			src.SetAside = err.Error()
			s.Notes = append(s.Notes, file+" was set aside: "+src.SetAside)
		}
		if file == decisions.Beside {
			m.beside = rows
		}
		all = append(all, rows...)
		sources[file] = src
	}
	rejects := decisions.Decide(all, &job.Past)
	for i := range all {
		if src := sources[all[i].File]; all[i].Typed != (life.Typed{}) {
			src.Rows++
			src.Used++
		}
	}
	for i := range rejects {
		src := sources[rejects[i].File]
		src.Used--
		src.Rejected++
	}
	for _, file := range []string{decisions.Name, decisions.Beside} {
		if src := sources[file]; src != nil && (src.Rows > 0 || src.SetAside != "") {
			s.Sources = append(s.Sources, *src)
		}
	}
	s.Rejects = append(s.Rejects, rejects...)
	return nil
}

// publish publishes a run, puts it into the ledger and brings the workbook of
// decisions up to date. The run counts in the ledger once its folder is whole.
func (m *memory) publish(out *Outcome, job *Job) (err error) {
	if m.ledger == nil {
		out.Folder, err = publish.Run(out.Result, job.Publish)
		return err
	}
	r := out.Result
	night := &ledger.Night{
		Started: job.Publish.Started, Version: job.Version, Config: job.Publish.Config.SHA256,
		Why: whyRead(r.Survey), Survey: r.Survey, Judgements: r.Judgements,
		Findings:  life.Settle(r.Survey, r.Judgements, r.Model, r.Findings, &job.Past),
		Proposals: life.Propose(r.Survey, r.Judgements, r.Model, r.Corrections, &job.Past),
	}
	for _, f := range job.Read.Keep.After(r.Survey) {
		night.Kept = append(night.Kept, ledger.Kept(f))
	}
	if m.known {
		out.Read = night.Why
	}
	run, err := m.ledger.Prepare(night)
	if err != nil {
		return err
	}
	if out.Folder, err = publish.Run(r, job.Publish); out.Folder == "" {
		return errors.Join(err, m.ledger.Abandon(run))
	}
	if err = errors.Join(err, m.ledger.Confirm(run, out.Folder)); err != nil {
		return err
	}
	out.Decisions = filepath.Join(job.Publish.Output, decisions.Name)
	out.Note, err = decisions.Update(job.Publish.Output, filepath.Base(out.Folder), night.Findings, m.beside)
	if err != nil { // the run is published, and the next one writes it
		out.Note = decisions.Name + " could not be written: " + err.Error()
	}
	return nil
}

// cameBack marks the records whose lines came back to the map as proposed.
func cameBack(s *survey.Survey, past *life.Past) *survey.Survey {
	back := life.Corrected(s.Records, past)
	if !slices.ContainsFunc(back, func(b life.Back) bool { return b.Corrected }) {
		return s
	}
	c := *s
	c.Records = slices.Clone(s.Records)
	for i := range c.Records {
		c.Records[i].Corrected, c.Records[i].Left = back[i].Corrected, back[i].Left
	}
	return &c
}

// whyRead says which files of readings were read tonight, and why; "" where
// nothing is kept of any.
func whyRead(s *survey.Survey) string {
	counts := map[survey.ReadWhy]int{}
	for i := range s.Sources {
		counts[s.Sources[i].Read]++
	}
	var parts []string
	for _, w := range []struct {
		why  survey.ReadWhy
		text string
	}{
		{survey.ReadNew, "new"},
		{survey.ReadChanged, "with other bytes"},
		{survey.ReadConfig, "to be read in another way, by the config or the program's version"},
		{survey.ReadAnew, "read anew"},
		{survey.ReadKept, "as kept"},
		{survey.ReadGone, "as kept, and no longer there"},
	} {
		if n := counts[w.why]; n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", n, w.text))
		}
	}
	if len(parts) == 0 {
		return ""
	}
	return "files of readings: " + strings.Join(parts, ", ")
}
