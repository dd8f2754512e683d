-- For each reading the nearest record within 5 m, and where on it the reading is.
-- PostgreSQL runs a LATERAL subquery with a LIMIT in one process.
CREATE UNLOGGED TABLE matched AS
SELECT r.id, n.*
FROM reading r
LEFT JOIN LATERAL (
	SELECT asset_id, ST_LineLocatePoint(line, r.point) AS fraction, ST_Distance(line, r.point) AS distance
	FROM record
	WHERE ST_DWithin(line, r.point, 5)
	ORDER BY line <-> r.point
	LIMIT 1
) n ON true;
