-- The same as all pairs within 5 m, of which the nearest one of each reading is
-- kept: more pairs, but on all cores.
SET max_parallel_workers_per_gather = 2;
SET parallel_setup_cost = 0;
SET parallel_tuple_cost = 0;
SET min_parallel_table_scan_size = 0;
CREATE UNLOGGED TABLE matched_parallel AS
SELECT DISTINCT ON (r.id)
	r.id, c.asset_id, ST_LineLocatePoint(c.line, r.point) AS fraction, ST_Distance(c.line, r.point) AS distance
FROM reading r
LEFT JOIN record c ON ST_DWithin(c.line, r.point, 5)
ORDER BY r.id, ST_Distance(c.line, r.point);
