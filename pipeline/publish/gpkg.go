package publish

import (
	"context"
	"database/sql/driver"
	"errors"
	"fmt"
	"math"
	"net/url"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/asfound/asfound/internal/crs"
	"github.com/paulmach/orb"
	"modernc.org/sqlite"
)

// A GeoPackage is a SQLite file with tables that say what is in it (OGC
// 12-128r18, GeoPackage 1.3.1). gpkgTables are those tables, as annex C of the
// standard writes them, with the metadata extension for the caution.
const gpkgTables = `
PRAGMA application_id = 1196444487; -- "GPKG"
PRAGMA user_version = 10301;
CREATE TABLE gpkg_spatial_ref_sys (
  srs_name TEXT NOT NULL, srs_id INTEGER PRIMARY KEY, organization TEXT NOT NULL,
  organization_coordsys_id INTEGER NOT NULL, definition TEXT NOT NULL, description TEXT);
CREATE TABLE gpkg_contents (
  table_name TEXT NOT NULL PRIMARY KEY, data_type TEXT NOT NULL, identifier TEXT UNIQUE, description TEXT DEFAULT '',
  last_change DATETIME NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')),
  min_x DOUBLE, min_y DOUBLE, max_x DOUBLE, max_y DOUBLE, srs_id INTEGER,
  CONSTRAINT fk_gc_r_srs_id FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys(srs_id));
CREATE TABLE gpkg_geometry_columns (
  table_name TEXT NOT NULL, column_name TEXT NOT NULL, geometry_type_name TEXT NOT NULL,
  srs_id INTEGER NOT NULL, z TINYINT NOT NULL, m TINYINT NOT NULL,
  CONSTRAINT pk_geom_cols PRIMARY KEY (table_name, column_name), CONSTRAINT uk_gc_table_name UNIQUE (table_name),
  CONSTRAINT fk_gc_tn FOREIGN KEY (table_name) REFERENCES gpkg_contents(table_name),
  CONSTRAINT fk_gc_srs FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys (srs_id));
CREATE TABLE gpkg_extensions (
  table_name TEXT, column_name TEXT, extension_name TEXT NOT NULL, definition TEXT NOT NULL, scope TEXT NOT NULL,
  CONSTRAINT ge_tce UNIQUE (table_name, column_name, extension_name));
CREATE TABLE gpkg_metadata (
  id INTEGER CONSTRAINT m_pk PRIMARY KEY ASC NOT NULL, md_scope TEXT NOT NULL DEFAULT 'dataset',
  md_standard_uri TEXT NOT NULL, mime_type TEXT NOT NULL DEFAULT 'text/xml', metadata TEXT NOT NULL DEFAULT '');
CREATE TABLE gpkg_metadata_reference (
  reference_scope TEXT NOT NULL, table_name TEXT, column_name TEXT, row_id_value INTEGER,
  timestamp DATETIME NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')),
  md_file_id INTEGER NOT NULL, md_parent_id INTEGER,
  CONSTRAINT crmr_mfi_fk FOREIGN KEY (md_file_id) REFERENCES gpkg_metadata(id),
  CONSTRAINT crmr_mpi_fk FOREIGN KEY (md_parent_id) REFERENCES gpkg_metadata(id));
INSERT INTO gpkg_extensions VALUES
  ('gpkg_metadata', NULL, 'gpkg_metadata', 'http://www.geopackage.org/spec131/#extension_metadata', 'read-write'),
  ('gpkg_metadata_reference', NULL, 'gpkg_metadata', 'http://www.geopackage.org/spec131/#extension_metadata', 'read-write');
INSERT INTO gpkg_spatial_ref_sys VALUES
  ('Undefined Cartesian SRS', -1, 'NONE', -1, 'undefined', 'undefined Cartesian coordinate reference system'),
  ('Undefined geographic SRS', 0, 'NONE', 0, 'undefined', 'undefined geographic coordinate reference system'),
  ('WGS 84 geodetic', 4326, 'EPSG', 4326, 'GEOGCS["WGS 84",DATUM["WGS_1984",SPHEROID["WGS 84",6378137,298.257223563,AUTHORITY["EPSG","7030"]],AUTHORITY["EPSG","6326"]],PRIMEM["Greenwich",0,AUTHORITY["EPSG","8901"]],UNIT["degree",0.0174532925199433,AUTHORITY["EPSG","9122"]],AUTHORITY["EPSG","4326"]]', 'longitude/latitude coordinates in decimal degrees on the WGS 84 spheroid');
`

// geopackage writes one GeoPackage. The same calls make the same bytes: the
// times that the standard wants are handed in.
type geopackage struct {
	conn    driver.Conn
	time    string // of every last_change
	systems map[string]int32
	tables  map[string]bool // names taken, lower case
	layers  []layer         // written
}

// createGeoPackage starts a GeoPackage at a path where there is nothing. It is
// written without a journal: a run that is cut off leaves nothing to roll back.
func createGeoPackage(path, lastChange string) (*geopackage, error) {
	conn, err := (&sqlite.Driver{}).Open(sqliteURI(path))
	if err != nil {
		return nil, err
	}
	g := &geopackage{conn: conn, time: lastChange, systems: map[string]int32{}, tables: map[string]bool{}}
	err = errors.Join(
		g.exec("PRAGMA journal_mode = OFF"), g.exec("PRAGMA synchronous = OFF"), g.exec("PRAGMA locking_mode = EXCLUSIVE"),
		g.exec("BEGIN"), g.exec(gpkgTables))
	if err != nil {
		return nil, errors.Join(err, conn.Close())
	}
	return g, nil
}

// sqliteURI is a path as SQLite takes it, whatever characters are in it.
func sqliteURI(path string) string {
	slashed := filepath.ToSlash(path)
	if filepath.VolumeName(path) != "" {
		slashed = "/" + slashed
	}
	return "file:" + (&url.URL{Path: slashed}).EscapedPath()
}

// finish makes the file whole.
func (g *geopackage) finish() error { return errors.Join(g.exec("COMMIT"), g.conn.Close()) }

// abandon closes a file that will not be kept.
func (g *geopackage) abandon() { g.conn.Close() }

func (g *geopackage) exec(query string, values ...any) error {
	args := make([]driver.NamedValue, len(values))
	for i, v := range values {
		args[i] = driver.NamedValue{Ordinal: i + 1, Value: v}
	}
	_, err := g.conn.(driver.ExecerContext).ExecContext(context.Background(), query, args)
	return err
}

// describe puts a text into the file's own metadata.
func (g *geopackage) describe(text string) error {
	return errors.Join(
		g.exec("INSERT INTO gpkg_metadata VALUES (1, 'dataset', 'https://www.rfc-editor.org/rfc/rfc2046', 'text/plain', ?)", text),
		g.exec("INSERT INTO gpkg_metadata_reference VALUES ('geopackage', NULL, NULL, NULL, ?, 1, NULL)", g.time))
}

// system makes a coordinate system known and returns its id in this file: its
// EPSG code, or a number from 100001 on.
func (g *geopackage) system(s *crs.System) (int32, error) {
	def := s.Definition()
	if id, ok := g.systems[def]; ok {
		return id, nil
	}
	id, organization := int32(100_001+len(g.systems)), "NONE"
	definition := wkt1(s) // which the standard wants here
	if code, ok := strings.CutPrefix(def, "EPSG:"); ok {
		n, err := strconv.ParseInt(code, 10, 32)
		if err != nil {
			return 0, fmt.Errorf("coordinate system %q: %w", def, err)
		}
		id, organization = int32(n), "EPSG"
	}
	g.systems[def] = id
	if id == 4326 {
		return id, nil
	}
	return id, g.exec("INSERT INTO gpkg_spatial_ref_sys VALUES (?, ?, ?, ?, ?, NULL)",
		s.Name(), int64(id), organization, int64(id), definition)
}

// wkt1 is a system as the older WKT: as it came in, where it came so.
func wkt1(s *crs.System) string {
	if def := s.Definition(); strings.HasPrefix(def, "PROJCS[") || strings.HasPrefix(def, "GEOGCS[") {
		return def
	}
	return s.WKT1()
}

// name finds a free table name near the wanted one.
func (g *geopackage) name(wanted string) string {
	base := cleanName(wanted)
	lower := strings.ToLower(base)
	if base == "" || strings.HasPrefix(lower, "gpkg_") || strings.HasPrefix(lower, "sqlite_") || strings.HasPrefix(lower, "rtree_") || lower == "layer_styles" {
		base = "records_" + base
	}
	name := base
	for n := 2; g.tables[strings.ToLower(name)]; n++ {
		name = fmt.Sprintf("%s_%d", base, n)
	}
	g.tables[strings.ToLower(name)] = true
	return name
}

// layer is a feature table to be written.
type layer struct {
	table       string
	description string
	system      *crs.System
	geometry    string // type name of the standard: LINESTRING, MULTILINESTRING, POINT, GEOMETRY
	z           int    // 0 no heights, 1 all have, 2 some have
	names       []string
	types       []string // SQL type of each
}

// feature is one row of a feature table. Both slices are good until the next.
type feature struct {
	fid    int64
	geom   geometry
	values []any // one per name of the layer
}

// write creates a feature table and fills it.
func (g *geopackage) write(l layer, features func(yield func(feature) error) error) error {
	srs, err := g.system(l.system)
	if err != nil {
		return err
	}
	var create, marks strings.Builder
	fmt.Fprintf(&create, "CREATE TABLE %s (fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, geom %s", quoted(l.table), l.geometry)
	for i, name := range l.names {
		fmt.Fprintf(&create, ", %s %s", quoted(name), l.types[i])
		marks.WriteString(",?")
	}
	if err := g.exec(create.String() + ")"); err != nil {
		return err
	}
	stmt, err := g.conn.Prepare("INSERT INTO " + quoted(l.table) + " VALUES (?,?" + marks.String() + ")")
	if err != nil {
		return err
	}
	defer stmt.Close()
	insert := stmt.(driver.StmtExecContext)
	args := make([]driver.NamedValue, len(l.names)+2)
	for i := range args {
		args[i].Ordinal = i + 1
	}
	var blob []byte
	bound, any := orb.Bound{}, false
	err = features(func(f feature) error {
		blob = appendGPKG(blob[:0], srs, f.geom, l.geometry == "MULTILINESTRING")
		args[0].Value, args[1].Value = f.fid, nil
		if len(blob) > 0 {
			args[1].Value = blob
			if b := f.geom.parts.Bound(); any {
				bound = bound.Union(b)
			} else {
				bound, any = b, true
			}
		}
		for i, v := range f.values {
			args[i+2].Value = v
		}
		_, err := insert.ExecContext(context.Background(), args)
		return err
	})
	if err != nil {
		return fmt.Errorf("layer %s: %w", l.table, err)
	}
	return g.register(l, srs, bound, any)
}

// register lists a feature table in the tables that say what is in the file.
func (g *geopackage) register(l layer, srs int32, bound orb.Bound, any bool) error {
	var corners [4]driver.Value
	if any && !math.IsNaN(bound.Min[0]) {
		corners = [4]driver.Value{bound.Min[0], bound.Min[1], bound.Max[0], bound.Max[1]}
	}
	g.layers = append(g.layers, l)
	return errors.Join(
		g.exec("INSERT INTO gpkg_contents VALUES (?, 'features', ?, ?, ?, ?, ?, ?, ?, ?)",
			l.table, l.table, l.description, g.time, corners[0], corners[1], corners[2], corners[3], int64(srs)),
		g.exec("INSERT INTO gpkg_geometry_columns VALUES (?, 'geom', ?, ?, ?, 0)", l.table, l.geometry, int64(srs), int64(l.z)))
}

// quoted is a name as SQL takes it.
func quoted(name string) string { return `"` + strings.ReplaceAll(name, `"`, `""`) + `"` }
