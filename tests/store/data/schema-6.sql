BEGIN TRANSACTION;
CREATE TABLE analysis (
        content_hash TEXT NOT NULL, version TEXT NOT NULL, document BLOB NOT NULL,
        stored_at REAL NOT NULL, checksum INTEGER, PRIMARY KEY (content_hash, version)
    ) WITHOUT ROWID;
INSERT INTO "analysis" VALUES('abc','1',X'789CAB564A54B252503ABC52A9160013E903A8',1000.5,NULL);
CREATE TABLE correction (
        content_hash TEXT PRIMARY KEY, document TEXT NOT NULL, stored_at REAL NOT NULL
    , checksum INTEGER) WITHOUT ROWID;
INSERT INTO "correction" VALUES('abc','{"meter": 3}',1000.5,3210618974);
INSERT INTO "correction" VALUES('def','{"level": 0.5}',1000.5,1266478811);
CREATE TABLE desk (
        key TEXT PRIMARY KEY, document TEXT NOT NULL, stored_at REAL NOT NULL,
        checksum INTEGER
    ) WITHOUT ROWID;
CREATE TABLE failure (
        path TEXT PRIMARY KEY, size INTEGER NOT NULL, mtime_ns INTEGER NOT NULL,
        version TEXT NOT NULL, trouble TEXT NOT NULL, reason TEXT NOT NULL
    ) WITHOUT ROWID;
INSERT INTO "failure" VALUES('/music/bad.wav',1,2,'1','is cut off, only 1:02.0 of 3:00.0 can be read','');
CREATE TABLE file (
        path TEXT PRIMARY KEY, size INTEGER NOT NULL, mtime_ns INTEGER NOT NULL,
        content_hash TEXT NOT NULL
    ) WITHOUT ROWID;
INSERT INTO "file" VALUES('/music/song.wav',5,123,'abc');
CREATE TABLE routine (
        name TEXT PRIMARY KEY, text TEXT NOT NULL, stored_at REAL NOT NULL
    , checksum INTEGER) WITHOUT ROWID;
INSERT INTO "routine" VALUES('Mine','counts = 32',1000.5,990126458);
CREATE TABLE set_aside (
        key TEXT PRIMARY KEY, document TEXT NOT NULL, stored_at REAL NOT NULL,
        checksum INTEGER
    ) WITHOUT ROWID;
CREATE TABLE summary (
        content_hash TEXT PRIMARY KEY, version TEXT NOT NULL, title TEXT NOT NULL,
        artist TEXT NOT NULL, duration_s REAL NOT NULL, tempo_bpm REAL NOT NULL,
        meter INTEGER NOT NULL, confidence REAL NOT NULL, beats_per_count REAL,
        counts_per_minute REAL NOT NULL, doubts TEXT NOT NULL, grid BLOB NOT NULL,
        checksum INTEGER
    );
CREATE INDEX analysis_by_time ON analysis (version, stored_at, content_hash);
CREATE INDEX file_by_hash ON file (content_hash);
COMMIT;
PRAGMA user_version = 6;
