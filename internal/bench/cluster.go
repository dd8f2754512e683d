//go:build linux

package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// superuser is the cluster's own, whoever runs the bench.
const superuser = "postgres"

// settings are for speed alone: the cluster is thrown away.
var settings = map[string]string{
	"listen_addresses":     "",
	"shared_buffers":       "2GB",
	"work_mem":             "256MB",
	"maintenance_work_mem": "512MB",
	"fsync":                "off",
	"synchronous_commit":   "off",
	"full_page_writes":     "off",
	"wal_level":            "minimal",
	"max_wal_senders":      "0",
	"max_wal_size":         "8GB",
	"autovacuum":           "off",
	"jit":                  "off", // the estimated costs of spatial functions start it where it does not pay
}

// cluster is a PostgreSQL of its own in a temporary folder, with a socket there
// and no port.
type cluster struct {
	bin, dir string
	server   *exec.Cmd
	log      bytes.Buffer
	clients  time.Duration // processor time of the programs that this step has run
}

// newestPostgres is the folder of the newest PostgreSQL's programs, as Debian has
// them; "" where there is none.
func newestPostgres() string {
	found, _ := filepath.Glob("/usr/lib/postgresql/*/bin")
	if len(found) == 0 {
		return ""
	}
	version := func(bin string) int {
		v, _ := strconv.Atoi(filepath.Base(filepath.Dir(bin)))
		return v
	}
	return slices.MaxFunc(found, func(a, b string) int { return version(a) - version(b) })
}

// startCluster makes a cluster and waits until it answers. Call stop in the end.
func startCluster(ctx context.Context, bin string) (_ *cluster, err error) {
	c := &cluster{bin: bin}
	if c.dir, err = os.MkdirTemp("", "asfound-bench-pg-"); err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			c.stop()
		}
	}()
	as, err := unprivileged(c.dir)
	if err != nil {
		return nil, err
	}
	data := filepath.Join(c.dir, "data")
	initdb := exec.CommandContext(ctx, filepath.Join(bin, "initdb"), "-D", data, "-U", superuser, "-A", "trust", "-E", "UTF8", "--locale=C", "--no-sync")
	initdb.SysProcAttr, initdb.Dir = &syscall.SysProcAttr{Credential: as}, c.dir
	if out, err := initdb.CombinedOutput(); err != nil {
		return nil, fmt.Errorf("initdb: %w\n%s", err, out)
	}
	args := []string{"-D", data, "-k", c.dir}
	for name, value := range settings {
		args = append(args, "-c", name+"="+value)
	}
	c.server = exec.Command(filepath.Join(bin, "postgres"), args...)
	// In a group of its own, so that an interrupt from the keyboard reaches it by
	// way of stop only.
	c.server.SysProcAttr, c.server.Dir = &syscall.SysProcAttr{Credential: as, Setpgid: true}, c.dir
	c.server.Stderr = &c.log
	if err := c.server.Start(); err != nil {
		return nil, err
	}
	return c, c.wait(ctx)
}

// wait waits until the server takes queries.
func (c *cluster) wait(ctx context.Context) error {
	var err error
	for range 300 {
		if err = c.psql(ctx, "-c", "SELECT 1"); err == nil || ctx.Err() != nil {
			return err
		}
		time.Sleep(100 * time.Millisecond)
	}
	return fmt.Errorf("the server does not answer: %w\n%s", err, strings.TrimSpace(c.log.String()))
}

// stop ends the server and removes all of it.
func (c *cluster) stop() {
	if c.server != nil && c.server.Process != nil {
		_ = c.server.Process.Signal(syscall.SIGINT) // fast shutdown
		_ = c.server.Wait()
	}
	_ = os.RemoveAll(c.dir)
}

// unprivileged is as whom the server runs: PostgreSQL refuses root. The folder
// becomes that user's.
func unprivileged(dir string) (*syscall.Credential, error) {
	if os.Getuid() != 0 {
		return nil, nil
	}
	u, err := user.Lookup("postgres")
	if err != nil {
		return nil, err
	}
	uid, err := strconv.ParseUint(u.Uid, 10, 32)
	gid, err2 := strconv.ParseUint(u.Gid, 10, 32)
	if err := errors.Join(err, err2); err != nil {
		return nil, err
	}
	return &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}, os.Chown(dir, int(uid), int(gid))
}
