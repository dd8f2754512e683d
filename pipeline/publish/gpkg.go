package publish

import (
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/asfound/asfound/internal/crs"
	"github.com/paulmach/orb"
	_ "modernc.org/sqlite" // the driver "sqlite"
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

// geopackage is a GeoPackage being written, in three steps: SQLite makes the
// tables, their rows are written in bulk, SQLite registers what came of them.
// The same layers make the same bytes: the times that the standard wants are
// handed in.
type geopackage struct {
	path    string
	time    string // of every last_change
	systems map[string]int32
	tables  map[string]bool // names taken, lower case
	layers  []layer
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
	features    func(yield func(feature) error) error

	srs   int32
	root  uint32 // page of the table
	rows  int64  // largest id
	bound orb.Bound
	any   bool // whether any row has a geometry
}

// feature is one row of a feature table; fids go up. Both slices are good until
// the next.
type feature struct {
	fid    int64
	geom   geometry
	values []value // one per name of the layer
}

func newGeoPackage(path, lastChange string) *geopackage {
	return &geopackage{path: path, time: lastChange, systems: map[string]int32{}, tables: map[string]bool{}}
}

// write makes the file. A run that is cut off leaves a file that is thrown
// away, so that there is nothing to journal.
func (g *geopackage) write(metadata string) error {
	err := g.sql(func(tx *sql.Tx) error {
		if _, err := tx.Exec(gpkgTables); err != nil {
			return err
		}
		if err := g.describe(tx, metadata); err != nil {
			return err
		}
		for i := range g.layers {
			if err := g.create(tx, &g.layers[i]); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	if err := g.fill(); err != nil {
		return err
	}
	return g.sql(func(tx *sql.Tx) error {
		for i := range g.layers {
			if err := g.register(tx, &g.layers[i]); err != nil {
				return err
			}
		}
		return nil
	})
}

// sql does one transaction on the file, which it opens and closes.
func (g *geopackage) sql(do func(tx *sql.Tx) error) (err error) {
	pragmas := fmt.Sprintf("?_pragma=page_size(%d)&_pragma=auto_vacuum(0)&_pragma=journal_mode(off)&_pragma=synchronous(off)", pageSize)
	db, err := sql.Open("sqlite", sqliteURI(g.path)+pragmas)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	tx, err := db.Begin()
	if err != nil {
		return err
	}
	if err := do(tx); err != nil {
		return errors.Join(err, tx.Rollback())
	}
	return tx.Commit()
}

// sqliteURI is a path as SQLite takes it, whatever characters are in it.
func sqliteURI(path string) string {
	slashed := filepath.ToSlash(path)
	if filepath.VolumeName(path) != "" {
		slashed = "/" + slashed
	}
	return "file:" + (&url.URL{Path: slashed}).EscapedPath()
}

// describe puts a text into the file's own metadata.
func (g *geopackage) describe(tx *sql.Tx, text string) error {
	if _, err := tx.Exec("INSERT INTO gpkg_metadata VALUES (1, 'dataset', 'https://www.rfc-editor.org/rfc/rfc2046', 'text/plain', ?)", text); err != nil {
		return err
	}
	_, err := tx.Exec("INSERT INTO gpkg_metadata_reference VALUES ('geopackage', NULL, NULL, NULL, ?, 1, NULL)", g.time)
	return err
}

// create makes a layer's empty table and notes where it is.
func (g *geopackage) create(tx *sql.Tx, l *layer) (err error) {
	if l.srs, err = g.system(tx, l.system); err != nil {
		return err
	}
	var create strings.Builder
	fmt.Fprintf(&create, "CREATE TABLE %s (fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, geom %s", quoted(l.table), l.geometry)
	for i, name := range l.names {
		fmt.Fprintf(&create, ", %s %s", quoted(name), l.types[i])
	}
	if _, err := tx.Exec(create.String() + ")"); err != nil {
		return fmt.Errorf("layer %s: %w", l.table, err)
	}
	return tx.QueryRow("SELECT rootpage FROM sqlite_master WHERE type = 'table' AND name = ?", l.table).Scan(&l.root)
}

// system makes a coordinate system known and returns its id in this file: its
// EPSG code, or a number from 100001 on.
func (g *geopackage) system(tx *sql.Tx, s *crs.System) (int32, error) {
	def := s.Definition()
	if id, ok := g.systems[def]; ok {
		return id, nil
	}
	id, organization := int32(100_001+len(g.systems)), "NONE"
	definition := def
	if code, ok := strings.CutPrefix(def, "EPSG:"); ok {
		n, err := strconv.ParseInt(code, 10, 32)
		if err != nil {
			return 0, fmt.Errorf("coordinate system %q: %w", def, err)
		}
		id, organization, definition = int32(n), "EPSG", "undefined"
	}
	g.systems[def] = id
	if id == 4326 {
		return id, nil
	}
	_, err := tx.Exec("INSERT INTO gpkg_spatial_ref_sys VALUES (?, ?, ?, ?, ?, NULL)", s.Name(), id, organization, id, definition)
	return id, err
}

// name finds a free table name near the wanted one.
func (g *geopackage) name(wanted string) string {
	base := cleanName(wanted)
	lower := strings.ToLower(base)
	if base == "" || strings.HasPrefix(lower, "gpkg_") || strings.HasPrefix(lower, "sqlite_") || strings.HasPrefix(lower, "rtree_") {
		base = "records_" + base
	}
	name := base
	for n := 2; g.tables[strings.ToLower(name)]; n++ {
		name = fmt.Sprintf("%s_%d", base, n)
	}
	g.tables[strings.ToLower(name)] = true
	return name
}

// fill writes the rows of all layers.
func (g *geopackage) fill() error {
	b, err := openBulk(g.path)
	if err != nil {
		return err
	}
	for i := range g.layers {
		if err := g.layers[i].fill(b.table(g.layers[i].root)); err != nil {
			return errors.Join(fmt.Errorf("layer %s: %w", g.layers[i].table, err), b.close())
		}
	}
	return b.close()
}

func (l *layer) fill(t *tree) error {
	row := make([]value, len(l.names)+2) // the id, which is the row's own, and the geometry come first
	var blob []byte
	err := l.features(func(f feature) error {
		blob = appendGPKG(blob[:0], l.srs, f.geom, l.geometry == "MULTILINESTRING")
		row[1] = value{}
		if len(blob) > 0 {
			row[1] = value{kind: valueBlob, blob: blob}
			l.extend(f.geom.parts.Bound())
		}
		copy(row[2:], f.values)
		l.rows = f.fid
		return t.insert(f.fid, row)
	})
	if err != nil {
		return err
	}
	return t.finish()
}

func (l *layer) extend(b orb.Bound) {
	if l.any {
		b = l.bound.Union(b)
	}
	l.bound, l.any = b, true
}

// register lists a feature table in the tables that say what is in the file.
func (g *geopackage) register(tx *sql.Tx, l *layer) error {
	var corners [4]any
	if l.any {
		corners = [4]any{l.bound.Min[0], l.bound.Min[1], l.bound.Max[0], l.bound.Max[1]}
	}
	if _, err := tx.Exec("INSERT INTO gpkg_contents VALUES (?, 'features', ?, ?, ?, ?, ?, ?, ?, ?)",
		l.table, l.table, l.description, g.time, corners[0], corners[1], corners[2], corners[3], l.srs); err != nil {
		return err
	}
	if _, err := tx.Exec("INSERT INTO gpkg_geometry_columns VALUES (?, 'geom', ?, ?, ?, 0)", l.table, l.geometry, l.srs, l.z); err != nil {
		return err
	}
	_, err := tx.Exec("INSERT INTO sqlite_sequence VALUES (?, ?)", l.table, l.rows)
	return err
}

// quoted is a name as SQL takes it.
func quoted(name string) string { return `"` + strings.ReplaceAll(name, `"`, `""`) + `"` }
