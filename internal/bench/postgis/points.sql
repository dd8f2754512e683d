-- Readings as points in the system of the records, in metres.
CREATE UNLOGGED TABLE reading AS
SELECT id, ST_Transform(ST_SetSRID(ST_MakePoint(lon, lat), :geographic), :plane) AS point
FROM raw;
