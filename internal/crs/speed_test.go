//go:build unix

package crs

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"text/tabwriter"

	"github.com/paulmach/orb"
)

// TestTable prints, for systems of every method, the largest difference from
// PROJ over 2,000 points of the area of use and the rates by processor time.
//
//	ASFOUND_SLOW=1 go test ./internal/crs -run TestTable$ -v
func TestTable(t *testing.T) {
	if !slow() {
		t.Skip("takes its time: ASFOUND_SLOW=1")
	}
	need(t, "cs2cs")
	var b strings.Builder
	w := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "system\tname\tmethod\tfrom PROJ, m\tforward, M/s\tinverse, M/s")
	for _, code := range []int{26917, 3734, 2236, 3435, 3857, 27700, 3035, 5070, 26931, 28992, 2056, 32756, 2193, 2154, 6549, 3031} {
		s, err := epsg().system(code)
		if err != nil {
			t.Error(err)
			continue
		}
		worst := againstPROJ(t, []int{code}, 2000)
		there := mustOperation(t, s.Geographic().Definition(), s.Definition(), Options{})
		ps := make([]orb.Point, 0, 2000)
		for _, p := range within(s, 2000) {
			if q := (orb.Point{p[0] - s.meridian.deg, p[1]}); math.Abs(q[1]) < 89 {
				ps = append(ps, q)
			}
		}
		forward := rate(t, there, ps)
		if err := there.ApplyAll(ps); err != nil {
			t.Error(err)
		}
		fmt.Fprintf(w, "EPSG:%d\t%s\t%s\t%.1e\t%.1f\t%.1f\n", code, s.Name(), s.Method(), worst, forward/1e6, rate(t, there.Inverse(), ps)/1e6)
	}
	w.Flush()
	t.Log("\n" + b.String())
}

// cpu is the processor time of this process in seconds: what other programs do
// at the same time does not count.
func cpu() float64 {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		panic(err)
	}
	return float64(u.Utime.Nano()+u.Stime.Nano()) / 1e9
}

// rate is how many points a second an operation takes over, on one core.
func rate(t *testing.T, op *Operation, ps []orb.Point) float64 {
	t.Helper()
	work := make([]orb.Point, len(ps))
	n, began := 0, cpu()
	for cpu()-began < 0.3 {
		copy(work, ps)
		if err := op.ApplyAll(work); err != nil {
			t.Fatal(err)
		}
		n += len(ps)
	}
	return float64(n) / (cpu() - began)
}

// TestSpeedBesidePROJ takes 10 million points over, beside PROJ's programs on
// the same points in the same run, by processor time: from text to text, as cs2cs
// and cct read and write it, and in memory, beside proj on binary numbers. It
// prints the rates; to be slower from text to text fails.
//
//	ASFOUND_SLOW=1 go test ./internal/crs -run SpeedBesidePROJ -v
func TestSpeedBesidePROJ(t *testing.T) {
	if !slow() {
		t.Skip("takes minutes: ASFOUND_SLOW=1")
	}
	for _, program := range []string{"cs2cs", "cct", "proj", "projinfo"} {
		need(t, program)
	}
	const n = 10_000_000
	dir := t.TempDir()
	text, binaryFile := filepath.Join(dir, "points.txt"), filepath.Join(dir, "points.bin")
	var b strings.Builder
	w := tabwriter.NewWriter(&b, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(w, "million points a second\tours, text\tcs2cs\tcct\tours, memory\tproj, binary\tours/cs2cs\tours/cct\tours/proj\t")
	for _, c := range []struct {
		name, from, to string
		epoch          float64
		proj           string // of proj, which knows no EPSG codes
	}{
		{"transverse Mercator", "EPSG:4269", "EPSG:26917", 0, "+proj=utm +zone=17 +ellps=GRS80"},
		{"Lambert", "EPSG:4269", "EPSG:3734", 0, "+proj=lcc +lat_0=39.6666666666667 +lon_0=-82.5 +lat_1=41.7 +lat_2=40.4333333333333 +x_0=600000 +y_0=0 +ellps=GRS80 +units=us-ft"},
		{"ITRF2014 to NAD83(2011)", "EPSG:7912", "EPSG:6319", 2026.5, ""},
	} {
		op := mustOperation(t, c.from, c.to, Options{Epoch: c.epoch})
		ps := make([]orb.Point, n)
		for i := range ps {
			ps[i] = orb.Point{-82 + 1e-7*float64(i), 40.3 + 1e-7*float64(i*7919%n)}
		}
		writePoints(t, text, binaryFile, ps, c.epoch)
		pipeline, err := exec.Command("projinfo", "-q", "-s", c.from, "-t", c.to, "-o", "PROJ", "--single-line").Output()
		if err != nil {
			t.Fatal(err)
		}
		steps, _, _ := strings.Cut(string(pipeline), "\n")
		seconds := map[string]float64{
			"cs2cs": timed(t, text, "cs2cs", "-f", "%.4f", c.from, c.to),
			"cct":   timed(t, text, "cct", append([]string{"-d", "4"}, strings.Fields(steps)...)...),
			"text":  ourText(t, text, op),
		}
		if c.proj != "" {
			seconds["proj"] = timed(t, binaryFile, "proj", append([]string{"-b"}, strings.Fields(c.proj)...)...)
		}
		runtime.GC()
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		began := cpu()
		if err := op.ApplyAll(ps); err != nil {
			t.Fatal(err)
		}
		seconds["memory"] = cpu() - began
		runtime.ReadMemStats(&after)
		if allocated := after.TotalAlloc - before.TotalAlloc; allocated > 1<<16 {
			t.Errorf("%s: %d bytes allocated for %d points", c.name, allocated, n)
		}
		mps := func(who string) string {
			if seconds[who] == 0 {
				return "-"
			}
			return fmt.Sprintf("%.2f", n/seconds[who]/1e6)
		}
		ratio := func(theirs, ours string) string {
			if seconds[theirs] == 0 {
				return "-"
			}
			if theirs != "proj" && seconds[theirs] < seconds[ours] {
				t.Errorf("%s: slower than %s", c.name, theirs)
			}
			return fmt.Sprintf("%.1f", seconds[theirs]/seconds[ours])
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t\n", c.name, mps("text"), mps("cs2cs"), mps("cct"), mps("memory"), mps("proj"),
			ratio("cs2cs", "text"), ratio("cct", "text"), ratio("proj", "memory"))
	}
	w.Flush()
	t.Log("\n" + b.String())
}

// writePoints writes latitude, longitude, height and time as text for the
// programs that read EPSG's order, and longitude and latitude in radians as
// numbers.
func writePoints(t *testing.T, text, numbers string, ps []orb.Point, epoch float64) {
	t.Helper()
	create := func(path string) (*os.File, *bufio.Writer) {
		f, err := os.Create(path)
		if err != nil {
			t.Fatal(err)
		}
		return f, bufio.NewWriterSize(f, 1<<20)
	}
	ft, wt := create(text)
	fb, wb := create(numbers)
	var line []byte
	var raw [16]byte
	for _, p := range ps {
		line = strconv.AppendFloat(line[:0], p[1], 'f', 9, 64)
		line = strconv.AppendFloat(append(line, ' '), p[0], 'f', 9, 64)
		line = strconv.AppendFloat(append(line, " 0 "...), epoch, 'f', -1, 64)
		wt.Write(append(line, '\n'))
		binary.NativeEndian.PutUint64(raw[:], math.Float64bits(p[0]*radPerDegree))
		binary.NativeEndian.PutUint64(raw[8:], math.Float64bits(p[1]*radPerDegree))
		wb.Write(raw[:])
	}
	for _, err := range []error{wt.Flush(), wb.Flush(), ft.Close(), fb.Close()} {
		if err != nil {
			t.Fatal(err)
		}
	}
}

// timed runs a program on a file and gives its processor time. What it writes is
// dropped.
func timed(t *testing.T, input, program string, args ...string) float64 {
	t.Helper()
	in, err := os.Open(input)
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	cmd := exec.Command(program, args...)
	cmd.Env = append(os.Environ(), "PROJ_NETWORK=OFF")
	cmd.Stdin = in
	if err := cmd.Run(); err != nil {
		t.Fatalf("%s %s: %v", program, strings.Join(args, " "), err)
	}
	return (cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()).Seconds()
}

// ourText does what cs2cs does: reads latitude and longitude line by line and
// writes the results with four decimals.
func ourText(t *testing.T, input string, op *Operation) float64 {
	t.Helper()
	began := cpu()
	in, err := os.Open(input)
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	null, err := os.OpenFile(os.DevNull, os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer null.Close()
	out := bufio.NewWriterSize(null, 1<<16)
	lines := bufio.NewScanner(bufio.NewReaderSize(in, 1<<16))
	var line []byte
	for lines.Scan() {
		lat, rest, _ := strings.Cut(lines.Text(), " ")
		lon, _, _ := strings.Cut(rest, " ")
		y, err1 := strconv.ParseFloat(lat, 64)
		x, err2 := strconv.ParseFloat(lon, 64)
		q, err3 := op.Apply(orb.Point{x, y})
		if err1 != nil || err2 != nil || err3 != nil {
			t.Fatal(err1, err2, err3)
		}
		line = strconv.AppendFloat(line[:0], q[0], 'f', 4, 64)
		line = strconv.AppendFloat(append(line, '\t'), q[1], 'f', 4, 64)
		out.Write(append(line, '\n'))
	}
	if err := lines.Err(); err != nil {
		t.Fatal(err)
	}
	if err := out.Flush(); err != nil {
		t.Fatal(err)
	}
	return cpu() - began
}
