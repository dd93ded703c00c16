"""What a phone would send, for tests: records with a running number, put as the page puts them."""

import datetime as dt
import io
import json
import uuid

from PIL import Image


def jpeg(size=(64, 48), **saved) -> bytes:
    file = io.BytesIO()
    Image.new("RGB", size, "green").save(file, "JPEG", **saved)
    return file.getvalue()


class Phone:
    """One device of one person. `put` sends at once; `record` only writes."""

    def __init__(self, client, visit, *, clock=None):
        self.client, self.visit = client, visit
        self.device, self.sequence = str(uuid.uuid4()), 0
        self.clock = clock or (lambda: dt.datetime.now(dt.UTC))

    def record(self, kind, /, **data):
        self.sequence += 1
        return {
            "id": str(uuid.uuid4()),
            "body": {
                "schema": 1,
                "device": self.device,
                "sequence": self.sequence,
                "kind": kind,
                "visit": str(self.visit.uuid),
                "recorded_at": self.clock().isoformat(),
                "data": data,
            },
        }

    def send(self, record):
        return self.client.put(
            f"/field/records/{record['id']}",
            json.dumps(record["body"]),
            content_type="application/json",
            headers={"X-Phone-Time": self.clock().isoformat()},
        )

    def put(self, kind, /, **data):
        return self.send(self.record(kind, **data))

    def photo(self, record_id, data, *, uuid_=None, start=0, end=None, total=None, **headers):
        total = len(data) if total is None else total
        end = len(data) if end is None else end
        return self.client.put(
            f"/field/photos/{uuid_ or uuid.uuid4()}",
            data[start:end],
            content_type="image/jpeg",
            headers={"Content-Range": f"bytes {start}-{end - 1}/{total}", "X-Record": record_id, **headers},
        )
