//go:build linux

package main

import (
	"fmt"
	"io"
	"text/tabwriter"
	"time"
)

// comparison is what both sides took.
type comparison struct {
	postgis *side // nil: left out
	asfound *side // nil: its match stage alone
	alone   cost  // the match stage once, by itself
}

// print writes the table: step, seconds on the wall and of the processors, then
// the ratios of both.
func (c *comparison) print(out io.Writer, t *town) error {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', tabwriter.AlignRight)
	line := func(name string, took cost) {
		fmt.Fprintf(w, "%.2f\t%.2f\t  %s\n", took.wall.Seconds(), took.cpu.Seconds(), name)
	}
	fmt.Fprintf(w, "wall s\tcpu s\t\n")
	if c.postgis != nil {
		fmt.Fprintf(w, "\t\tPostGIS\n")
		for _, s := range c.postgis.steps {
			line(s.name, s.cost)
		}
		line("whole, with the faster join", c.script())
	}
	fmt.Fprintf(w, "\t\tasfound\n")
	if c.asfound != nil {
		for _, s := range c.asfound.steps {
			name := s.name
			if s.peakB > 0 {
				name += fmt.Sprintf(" (at most %.0f MB)", float64(s.peakB)/1e6)
			}
			line(name, s.cost)
		}
		line("whole", c.asfound.whole)
	}
	line("match by itself, default options", c.alone)
	if err := w.Flush(); err != nil {
		return err
	}
	fmt.Fprintf(out, "\nmatch        %.0f ns of processor time a reading\n", float64(c.alone.cpu.Nanoseconds())/float64(t.Readings))
	if c.asfound != nil {
		fmt.Fprintf(out, "peak memory  %.0f MB\n", float64(c.asfound.peakB)/1e6)
	}
	if c.postgis == nil {
		return nil
	}
	return c.ratios(out)
}

func (c *comparison) ratios(out io.Writer) error {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintf(w, "\nPostGIS / asfound\twall\tcpu\n")
	ratio := func(name string, a, b cost) {
		fmt.Fprintf(w, "%s\t%.1f\t%.1f\n", name, over(a.wall, b.wall), over(a.cpu, b.cpu))
	}
	ratio("join / match by itself", c.join(), c.alone)
	if c.asfound != nil {
		ratio("join / match, first round", c.join(), c.round(1))
		ratio("join / match, all rounds", c.join(), c.round(0))
		ratio("script / run, whole", c.script(), c.asfound.whole)
	}
	return w.Flush()
}

func over(a, b time.Duration) float64 { return a.Seconds() / b.Seconds() }

// join is the faster of the two joins, on the wall.
func (c *comparison) join() cost {
	a, b := c.postgis.took(stepJoin), c.postgis.took(stepJoinParallel)
	if b.wall < a.wall {
		return b
	}
	return a
}

// script is the whole script with the faster join alone.
func (c *comparison) script() (sum cost) {
	for _, s := range c.postgis.steps {
		if s.name != stepJoin && s.name != stepJoinParallel {
			sum = sum.plus(s.cost)
		}
	}
	return sum.plus(c.join())
}

// round is the first rounds of matching in asfound's run; all for 0.
func (c *comparison) round(rounds int) (sum cost) {
	n := 0
	for _, s := range c.asfound.steps {
		if s.name == "match" {
			if n++; rounds == 0 || n <= rounds {
				sum = sum.plus(s.cost)
			}
		}
	}
	return sum
}

func (s *side) took(name string) (sum cost) {
	for i := range s.steps {
		if s.steps[i].name == name {
			sum = sum.plus(s.steps[i].cost)
		}
	}
	return sum
}
