package read

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/asfound/asfound/internal/crs"
	"github.com/asfound/asfound/pipeline/survey"
	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

func init() { layerFormats[".gpkg"] = readGeoPackage }

// geoPackage is an open file (OGC 12-128r17, GeoPackage 1.3).
type geoPackage struct {
	conn *sql.Conn
	file *layerFile
}

// readGeoPackage reads one feature table.
func readGeoPackage(path, layer string, most int) (l *layerFile, err error) {
	ctx := context.Background()
	g, closeAll, err := openGeoPackage(ctx, path)
	if err != nil {
		return nil, err
	}
	defer closeAll()
	table, err := g.choose(ctx, layer)
	if err != nil {
		return nil, err
	}
	g.file = &layerFile{name: table, siblings: []string{path}}
	if err := g.read(ctx, table, most); err != nil {
		return nil, fmt.Errorf("layer %s: %w", table, err)
	}
	g.file.settle()
	return g.file, nil
}

// openGeoPackage opens the file without writing anything beside it. What the
// file says of itself is not trusted: its schema cannot call functions that
// could harm, and no value can be longer than the file.
func openGeoPackage(ctx context.Context, path string) (*geoPackage, func(), error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, nil, err
	}
	if wal, err := os.Stat(path + "-wal"); err == nil && wal.Size() > 0 {
		return nil, nil, errors.New("another program has changes to it that are not in the file yet (-wal): close it there")
	}
	absolute, err := filepath.Abs(path)
	if err != nil {
		return nil, nil, err
	}
	slashed := filepath.ToSlash(absolute)
	if !strings.HasPrefix(slashed, "/") {
		slashed = "/" + slashed
	}
	name := url.URL{Scheme: "file", Path: slashed, RawQuery: "mode=ro&immutable=1&_pragma=trusted_schema(0)&_pragma=cell_size_check(1)&_pragma=mmap_size(0)&_pragma=query_only(1)"}
	db, err := sql.Open("sqlite", name.String())
	if err != nil {
		return nil, nil, err
	}
	conn, err := db.Conn(ctx)
	if err != nil {
		db.Close()
		return nil, nil, err
	}
	closeAll := func() { conn.Close(); db.Close() }
	if _, err := sqlite.Limit(conn, sqlite3.SQLITE_LIMIT_LENGTH, int(min(max(info.Size(), 1<<20), 1<<30))); err != nil {
		closeAll()
		return nil, nil, err
	}
	// The database reads what is missing of its last page as zeros.
	var pages, pageBytes int64
	err = conn.QueryRowContext(ctx, "select page_count, page_size from pragma_page_count, pragma_page_size").Scan(&pages, &pageBytes)
	switch {
	case err != nil:
		err = fmt.Errorf("it is no GeoPackage: %w", err)
	case info.Size() < pages*pageBytes:
		err = fmt.Errorf("it is cut short: %d bytes are left of %d", info.Size(), pages*pageBytes)
	}
	if err != nil {
		closeAll()
		return nil, nil, err
	}
	return &geoPackage{conn: conn}, closeAll, nil
}

// choose is the feature table that a layer's name means.
func (g *geoPackage) choose(ctx context.Context, layer string) (string, error) {
	names, views, err := g.tables(ctx)
	if err != nil {
		return "", err
	}
	same := func(name string) bool { return strings.EqualFold(name, layer) }
	switch at := slices.IndexFunc(names, same); {
	case at >= 0:
		return names[at], nil
	case slices.ContainsFunc(views, same):
		return "", fmt.Errorf("layer %s is a view: export it as a table", layer)
	case layer != "":
		return "", fmt.Errorf("it has no layer %q: there are %s", layer, strings.Join(names, ", "))
	case len(names) == 1:
		return names[0], nil
	case len(names) == 0:
		return "", errors.New("it holds no table of features")
	}
	return "", fmt.Errorf("it holds %d layers: name one with layer, of %s", len(names), strings.Join(names, ", "))
}

// tables are the feature tables by name, and the views that stand for some.
func (g *geoPackage) tables(ctx context.Context) (names, views []string, err error) {
	rows, err := g.conn.QueryContext(ctx, `select c.table_name, m.type from gpkg_contents c
		join sqlite_master m on lower(m.name) = lower(c.table_name) and (m.type = 'view' or m.type = 'table' and m.sql like 'create table%')
		where c.data_type = 'features' order by c.table_name`)
	if err != nil {
		return nil, nil, fmt.Errorf("it is no GeoPackage: %w", err)
	}
	defer rows.Close()
	for rows.Next() {
		var name, kind string
		if err := rows.Scan(&name, &kind); err != nil {
			return nil, nil, err
		}
		if kind == "view" {
			views = append(views, name)
			continue
		}
		names = append(names, name)
	}
	return names, views, rows.Err()
}

func (g *geoPackage) read(ctx context.Context, table string, most int) error {
	var geometry string
	var srs int
	err := g.conn.QueryRowContext(ctx, `select column_name, srs_id from gpkg_geometry_columns where lower(table_name) = lower(?)`, table).Scan(&geometry, &srs)
	if err != nil {
		return fmt.Errorf("gpkg_geometry_columns does not describe it: %w", err)
	}
	if g.file.crs, err = g.system(ctx, srs); err != nil {
		return err
	}
	if most == whole {
		if err := g.sound(ctx); err != nil {
			return err
		}
	}
	columns, err := g.columns(ctx, table, geometry)
	if err != nil {
		return err
	}
	query := "select " + quoteSQL(geometry)
	for _, c := range columns {
		// A sign in front keeps the driver from turning dates into other text.
		query += ", +" + quoteSQL(c)
	}
	rows, err := g.conn.QueryContext(ctx, query+" from "+quoteSQL(table)+" order by rowid limit ?", most)
	if err != nil {
		return err
	}
	defer rows.Close()
	values := make([]any, len(columns)+1)
	into := make([]any, len(values))
	for i := range values {
		into[i] = &values[i]
	}
	for rows.Next() {
		if err := rows.Scan(into...); err != nil {
			return fmt.Errorf("row %d: %w", len(g.file.features)+1, err)
		}
		g.feature(values)
	}
	if err := rows.Err(); err != nil {
		return fmt.Errorf("after row %d: %w", len(g.file.features), err)
	}
	return nil
}

// sound has the database look over all its pages. Without it, one damaged byte in
// the head of a page, or in the number of a table's first one, could leave rows
// out and nothing would say so. It takes a tenth of the time of reading.
func (g *geoPackage) sound(ctx context.Context) error {
	var found string
	if err := g.conn.QueryRowContext(ctx, "pragma quick_check(1)").Scan(&found); err != nil {
		return fmt.Errorf("the file is damaged: %w", err)
	}
	if found != "ok" {
		return fmt.Errorf("the file is damaged: %s", strings.ReplaceAll(found, "\n", " "))
	}
	return nil
}

// system is the definition of a spatial reference system: its EPSG code where
// that is known, else the text beside it.
func (g *geoPackage) system(ctx context.Context, id int) (string, error) {
	if id <= 0 {
		return "", nil // undefined, by the standard
	}
	var organization, definition string
	var code int
	err := g.conn.QueryRowContext(ctx, `select organization, organization_coordsys_id, definition from gpkg_spatial_ref_sys where srs_id = ?`, id).
		Scan(&organization, &code, &definition)
	if err != nil {
		return "", fmt.Errorf("its spatial reference system %d is not described: %w", id, err)
	}
	if named := fmt.Sprintf("EPSG:%d", code); strings.EqualFold(organization, "EPSG") {
		if _, err := crs.Parse(named); err == nil {
			return named, nil
		}
	}
	return definition, nil
}

// columns are the table's attributes, which become the layer's fields.
func (g *geoPackage) columns(ctx context.Context, table, geometry string) ([]string, error) {
	rows, err := g.conn.QueryContext(ctx, `select name, type, pk from pragma_table_info(?)`, table)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var columns []string
	for rows.Next() {
		var name, declared string
		var key int
		if err := rows.Scan(&name, &declared, &key); err != nil {
			return nil, err
		}
		if strings.EqualFold(name, geometry) {
			continue
		}
		columns = append(columns, name)
		g.file.fields = append(g.file.fields, survey.Field{Name: name, Kind: sqlKind(declared), Numbering: key > 0})
	}
	return columns, rows.Err()
}

// sqlKind is the kind of a column by its declared type (GeoPackage, table 1).
func sqlKind(declared string) survey.FieldKind {
	base, _, _ := strings.Cut(strings.ToUpper(declared), "(")
	switch strings.TrimSpace(base) {
	case "BOOLEAN":
		return survey.FieldBool
	case "TINYINT", "SMALLINT", "MEDIUMINT", "INT", "INTEGER", "FLOAT", "DOUBLE", "REAL":
		return survey.FieldNumber
	case "DATE":
		return survey.FieldDate
	}
	return survey.FieldText
}

func (g *geoPackage) feature(values []any) {
	f := survey.Feature{Row: len(g.file.features) + 1, Values: make([]survey.Value, len(values)-1)}
	for i, v := range values[1:] {
		f.Values[i] = sqlValue(v)
	}
	blob, _ := values[0].([]byte)
	kind, err := gpkgGeometry(blob, &f)
	why := ""
	if err != nil {
		why = err.Error()
	}
	f.Deleted = kind == ""
	g.file.add(f, kind, why)
}

func sqlValue(v any) survey.Value {
	switch v := v.(type) {
	case nil:
		return survey.Value{Null: true}
	case int64:
		return survey.Value{Text: strconv.FormatInt(v, 10)}
	case float64:
		return survey.Value{Text: strconv.FormatFloat(v, 'g', -1, 64)}
	case bool:
		return survey.Value{Text: strconv.FormatBool(v)}
	case []byte:
		return survey.Value{Text: fmt.Sprintf("%x", v)}
	case string:
		return survey.Value{Text: strings.Clone(v)}
	}
	return survey.Value{Text: fmt.Sprint(v)}
}

// gpkgGeometry reads the binary form of a geometry (GeoPackage clause 2.1.3): a
// header with the length of its envelope, and well-known binary behind it.
func gpkgGeometry(blob []byte, f *survey.Feature) (shape, error) {
	if len(blob) == 0 {
		return "", nil
	}
	if len(blob) < 8 || blob[0] != 'G' || blob[1] != 'P' {
		return "", errors.New("its geometry does not begin as the standard says")
	}
	flags := blob[3]
	envelope := flags >> 1 & 7
	if envelope > 4 {
		return "", errors.New("its geometry has an envelope that the standard does not know")
	}
	header := 8 + []int{0, 32, 48, 48, 64}[envelope]
	if len(blob) < header {
		return "", errShortGeometry
	}
	if flags&(1<<4) != 0 {
		return "", nil // empty
	}
	return parseWKB(blob[header:], f)
}

func quoteSQL(name string) string { return `"` + strings.ReplaceAll(name, `"`, `""`) + `"` }
