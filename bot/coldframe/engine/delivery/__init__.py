"""The two queues carried out: due rows and the outbox; and what follows from an outage."""
