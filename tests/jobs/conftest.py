"""What several tests of service work begin with."""

import pytest


@pytest.fixture
def desk(client, office):
    """The client with the office signed in."""
    client.force_login(office)
    return client
