COPY matched TO STDOUT (FORMAT csv, HEADER) \g :result
