CREATE INDEX ON record USING gist (line);
ANALYZE record;
ANALYZE reading;
