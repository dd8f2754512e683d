-- Readings: two columns of every field file, latitude and longitude. COPY takes
-- all columns of what it reads, so cut leaves the others out, which is faster than
-- a table of all of them.
CREATE UNLOGGED TABLE raw (
	id  integer GENERATED ALWAYS AS IDENTITY (CACHE 1000),
	lat double precision,
	lon double precision
);
\set program 'tail -q -n +2 ' :field '/*.csv | cut -d, -f3,4'
COPY raw (lat, lon) FROM PROGRAM :'program' (FORMAT csv);
