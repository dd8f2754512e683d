package publish

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"
)

func names(t *testing.T, folder string) string {
	t.Helper()
	entries, err := os.ReadDir(folder)
	if err != nil {
		t.Fatal(err)
	}
	var all []string
	for _, e := range entries {
		all = append(all, e.Name())
	}
	return strings.Join(all, " ")
}

func TestFolderNames(t *testing.T) {
	out := filepath.Join(t.TempDir(), "a folder?with%odd #name")
	for _, want := range []string{"2026-11-24T233501Z", "2026-11-24T233501Z-2", "2026-11-24T233501Z-3"} {
		folder, err := Run(nothing(), Options{Output: out, Started: started.In(time.FixedZone("", -6*3600))})
		if err != nil {
			t.Fatal(err)
		}
		if folder != filepath.Join(out, want) {
			t.Errorf("folder is %s, not %s", folder, want)
		}
		if got := contents(t, out, "latest.txt"); got != want+"\n" {
			t.Errorf("latest.txt says %q", got)
		}
		if link, err := os.Readlink(filepath.Join(out, "latest")); err != nil || link != want {
			t.Errorf("latest points to %q: %v", link, err)
		}
		if strings.ContainsAny(filepath.Base(folder), `<>:"/\|?*`) {
			t.Errorf("%s cannot be a folder's name on every system", folder)
		}
	}
	if info, err := os.Stat(filepath.Join(out, "latest")); err != nil || info.Mode().Perm() != 0o755 {
		t.Errorf("the folder is for its owner alone: %v %v", info, err)
	}
}

// fails is a file that cannot be written.
var fails = file{"broken.bin", func(*edition, string) error { return errors.New("disk full") }}

func TestNothingAppearsOfAFailedRun(t *testing.T) {
	out := t.TempDir()
	if _, err := Run(nothing(), Options{Output: out, Started: started}); err != nil {
		t.Fatal(err)
	}
	before := names(t, out)
	folder, err := publish(handful(t), Options{Output: out, Started: started.Add(time.Hour)}, append([]file{fails}, files...))
	if err == nil || folder != "" || !strings.Contains(err.Error(), "broken.bin: disk full") {
		t.Fatalf("folder %q, error %v", folder, err)
	}
	if after := names(t, out); after != before {
		t.Errorf("the output folder held %s, now %s", before, after)
	}
	if got := contents(t, out, "latest.txt"); got != "2026-11-24T233501Z\n" {
		t.Errorf("latest.txt says %q", got)
	}
}

// TestKilledRun kills a process in the middle of a run: nothing of it is visible,
// and the next run cleans up after it.
func TestKilledRun(t *testing.T) {
	if out := os.Getenv("ASFOUND_TEST_HANG"); out != "" {
		hangs := file{"hang.bin", func(_ *edition, path string) error {
			if err := os.WriteFile(path, []byte("half"), 0o644); err != nil {
				return err
			}
			fmt.Println("hanging")
			select {}
		}}
		_, err := publish(handful(t), Options{Output: out, Started: started}, append(files[2:len(files):len(files)], hangs))
		t.Fatal(err)
	}
	out := t.TempDir()
	cmd := exec.Command(os.Args[0], "-test.run=^TestKilledRun$")
	cmd.Env = append(os.Environ(), "ASFOUND_TEST_HANG="+out)
	pipe, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	if _, err := pipe.Read(make([]byte, 1)); err != nil {
		t.Fatal(err)
	}
	if err := cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = cmd.Wait()
	if left := names(t, out); !strings.HasPrefix(left, ".2026-11-24T233501Z.partial-") {
		t.Fatalf("the killed run left %q", left)
	}
	if _, err := Run(nothing(), Options{Output: out, Started: started}); err != nil {
		t.Fatal(err)
	}
	if left := names(t, out); left != "2026-11-24T233501Z latest latest.txt" {
		t.Errorf("after the next run there is %q", left)
	}
}

// What a run that still goes on has written is left alone, as is what came from
// another machine, until it is old.
func TestOtherRunsAreLeftAlone(t *testing.T) {
	out := t.TempDir()
	alive, err := newPartial(out, "2026-01-01T000000Z")
	if err != nil {
		t.Fatal(err)
	}
	foreign := filepath.Join(out, ".2026-01-01T000000Z.partial-elsewhere0-1-5")
	old := filepath.Join(out, ".2026-01-02T000000Z.partial-elsewhere0-1-6")
	hidden := filepath.Join(out, ".cache")
	for _, folder := range []string{foreign, old, hidden} {
		if err := os.Mkdir(folder, 0o755); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Chtimes(old, time.Time{}, time.Now().Add(-2*stalePartial)); err != nil {
		t.Fatal(err)
	}
	if _, err := Run(nothing(), Options{Output: out, Started: started}); err != nil {
		t.Fatal(err)
	}
	for folder, want := range map[string]bool{alive: true, foreign: true, hidden: true, old: false} {
		if _, err := os.Stat(folder); (err == nil) != want {
			t.Errorf("%s: there %v, want %v", folder, err == nil, want)
		}
	}
}

func TestLatestIsInTheWay(t *testing.T) {
	out := t.TempDir()
	if err := os.Mkdir(filepath.Join(out, "latest"), 0o755); err != nil {
		t.Fatal(err)
	}
	if _, err := Run(nothing(), Options{Output: out, Started: started}); err == nil || !strings.Contains(err.Error(), "move it away") {
		t.Errorf("error is %v", err)
	}
	if left := names(t, out); left != "latest" {
		t.Errorf("there is %q", left)
	}
}

func TestOutputThatCannotBe(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("names of files and folders end differently there")
	}
	blocked := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(blocked, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := Run(nothing(), Options{Output: filepath.Join(blocked, "out"), Started: started}); err == nil {
		t.Error("a folder below a file can be published to")
	}
}
