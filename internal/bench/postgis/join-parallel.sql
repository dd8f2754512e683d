-- The same as a scalar subquery, which parallel workers can do.
SET max_parallel_workers_per_gather = 2;
SET parallel_setup_cost = 0;
SET parallel_tuple_cost = 0;
SET min_parallel_table_scan_size = 0;
CREATE TYPE nearest AS (asset_id text, fraction double precision, distance double precision);
CREATE UNLOGGED TABLE matched_parallel AS
SELECT id, (n).asset_id, (n).fraction, (n).distance
FROM (
	SELECT r.id, (
		SELECT ROW(asset_id, ST_LineLocatePoint(line, r.point), ST_Distance(line, r.point))::nearest
		FROM record
		WHERE ST_DWithin(line, r.point, 5)
		ORDER BY line <-> r.point
		LIMIT 1
	) AS n
	FROM reading r
	OFFSET 0 -- else the subquery is run for every column
) q;
