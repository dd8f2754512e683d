//go:build linux

package main

import (
	"context"
	"embed"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"
)

// scripts are the SQL of the steps, for psql.
//
//go:embed postgis/*.sql
var scripts embed.FS

// Steps whose names the comparison looks for.
const (
	stepJoin         = "join, LATERAL, one process"
	stepJoinParallel = "join, DISTINCT ON, parallel workers"
)

// postgis runs the script on a town.
func postgis(ctx context.Context, bin string, t *town) (_ *side, err error) {
	c, err := startCluster(ctx, bin)
	if err != nil {
		return nil, err
	}
	defer c.stop()
	if err := c.psql(ctx, "-c", "CREATE EXTENSION postgis"); err != nil {
		return nil, err
	}
	result := filepath.Join(c.dir, "matched.csv")
	s := &side{}
	for _, step := range []struct {
		name string
		do   func() error
	}{
		{"records, ogr2ogr with COPY", func() error { return c.records(ctx, t) }},
		{"readings, COPY", func() error { return c.script(ctx, "readings", "field="+filepath.Join(t.Dir, "field")) }},
		{"points", func() error { return c.script(ctx, "points", "plane="+code(t.Plane), "geographic="+code(t.Geographic)) }},
		{"index, ANALYZE", func() error { return c.script(ctx, "index") }},
		{stepJoin, func() error { return c.script(ctx, "join") }},
		{stepJoinParallel, func() error { return c.script(ctx, "join-parallel") }},
		{"write", func() error { return c.script(ctx, "write", "result="+result) }},
	} {
		if err := c.step(s, step.name, step.do); err != nil {
			return nil, fmt.Errorf("%s: %w", step.name, err)
		}
	}
	s.whole = total(s.steps)
	return s, countRows(result, t.Readings)
}

// code is the number of an EPSG code.
func code(crs string) string { return strings.TrimPrefix(crs, "EPSG:") }

// step does one step and adds what it took: on the wall, and of the processors by
// the server, by its backends and by the clients.
func (c *cluster) step(s *side, name string, do func() error) error {
	server, err := familyUsage(c.server.Process.Pid)
	if err != nil {
		return err
	}
	c.clients = 0
	began := time.Now()
	if err := do(); err != nil {
		return err
	}
	wall := time.Since(began)
	after, err := familyUsage(c.server.Process.Pid)
	if err != nil {
		return err
	}
	s.did(step{name: name, cost: cost{wall, after - server + c.clients}})
	return nil
}

// records loads every shapefile of lines into one table, in metres.
func (c *cluster) records(ctx context.Context, t *town) error {
	files, err := filepath.Glob(filepath.Join(t.Dir, "gis", "*_lines.shp"))
	if err != nil {
		return err
	}
	for i, file := range files {
		layer := strings.TrimSuffix(filepath.Base(file), ".shp")
		args := []string{
			"-f", "PostgreSQL", "PG:host=" + c.dir + " user=" + superuser + " dbname=postgres", file,
			"-sql", "SELECT ASSET_ID FROM " + layer, "-nln", "record", "-nlt", "LINESTRING", "-explodecollections", "-t_srs", t.Plane, "-gt", "10000000",
		}
		if i == 0 {
			args = append(args, "-lco", "GEOMETRY_NAME=line", "-lco", "SPATIAL_INDEX=NONE", "-lco", "UNLOGGED=ON")
		} else {
			args = append(args, "-append")
		}
		cmd := exec.CommandContext(ctx, "ogr2ogr", args...)
		cmd.Env = append(os.Environ(), "PG_USE_COPY=YES")
		if err := c.client(cmd); err != nil {
			return err
		}
	}
	return nil
}

// script runs one file of SQL with variables, each as name=value.
func (c *cluster) script(ctx context.Context, name string, variables ...string) error {
	text, err := scripts.ReadFile("postgis/" + name + ".sql")
	if err != nil {
		return err
	}
	args := []string{"-f", "-"}
	for _, v := range variables {
		args = append(args, "-v", v)
	}
	cmd := c.command(ctx, args...)
	cmd.Stdin = strings.NewReader(string(text))
	return c.client(cmd)
}

func (c *cluster) psql(ctx context.Context, args ...string) error {
	return c.client(c.command(ctx, args...))
}

func (c *cluster) command(ctx context.Context, args ...string) *exec.Cmd {
	return exec.CommandContext(ctx, filepath.Join(c.bin, "psql"), append([]string{"-X", "-q", "-v", "ON_ERROR_STOP=1", "-h", c.dir, "-U", superuser, "-d", "postgres"}, args...)...)
}

// client runs a program and counts its processor time.
func (c *cluster) client(cmd *exec.Cmd) error {
	out, err := cmd.CombinedOutput()
	if err != nil {
		return fmt.Errorf("%s: %w\n%s", filepath.Base(cmd.Path), err, out)
	}
	c.clients += cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()
	return nil
}
